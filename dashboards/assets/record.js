// Keeps what is written down on this phone until the daemon has it, so that a yard without a signal loses nothing.
// Each record goes under a key made here, so one that is sent twice arrives once. Photographs are made small and
// bare before they leave. Without this script the form is sent as any form is, without photographs.
(() => {
  'use strict';
  if (!window.indexedDB || !window.fetch) return;

  const LONGEST_SIDE = 1600; // px
  const AGAIN_EVERY = 20000; // ms, while something waits
  const hex = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, '0')).join('');

  const opened = new Promise((done, failed) => {
    const asked = indexedDB.open('basinward', 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore('records', { keyPath: 'key' });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  const store = async (mode, work) => {
    const database = await opened;
    return new Promise((done, failed) => {
      const turn = database.transaction('records', mode);
      const asked = work(turn.objectStore('records'));
      turn.oncomplete = () => done(asked.result);
      turn.onerror = turn.onabort = () => failed(turn.error);
    });
  };
  const waiting = () => store('readonly', (records) => records.getAll());
  const keep = (record) => store('readwrite', (records) => records.put(record));
  const forget = (key) => store('readwrite', (records) => records.delete(key));

  const shrunk = async (file) => {
    const picture = await createImageBitmap(file, { imageOrientation: 'from-image' });
    const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    const canvas = document.createElement('canvas');
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
    return new Promise((done, failed) => canvas.toBlob((blob) => (blob ? done(blob) : failed(new Error('no picture'))), 'image/jpeg', 0.8));
  };

  // What waits, told above the page.
  const box = document.createElement('section');
  box.className = 'queue';
  box.hidden = true;
  box.setAttribute('role', 'status');
  box.setAttribute('aria-label', 'Records on this phone');
  document.getElementById('main').prepend(box);
  const element = (name, text, parent, className) => {
    const made = document.createElement(name);
    made.textContent = text;
    if (className) made.className = className;
    parent.append(made);
    return made;
  };
  let said = '';
  let newest = []; // what has arrived last
  const tell = async (says = said) => {
    said = says;
    const records = await waiting();
    box.hidden = !records.length && !newest.length && !said;
    box.classList.toggle('sent', !records.length);
    box.replaceChildren();
    if (said) element('p', said, box);
    for (const record of newest) {
      const line = element('p', `“${record.title}”: ${record.says ?? 'a record'}. It is written down and has arrived. `, box);
      Object.assign(element('a', 'See it or correct it', line, 'target'), { href: `/services/${record.key}` });
    }
    if (!records.length) return;
    element('p', records.length === 1 ? 'One record waits on this phone.' : `${records.length} records wait on this phone.`, box);
    const list = element('ul', '', box);
    for (const record of records) {
      const item = element('li', '', list);
      element('b', record.title, item);
      if (!record.problem) continue;
      element('span', record.problem, item, 'wrong');
      const drop = element('button', 'Throw it away', item, 'plain');
      drop.type = 'button';
      drop.addEventListener('click', async () => { await forget(record.key); tell(''); });
    }
    const send = element('button', 'Send now', box, 'plain');
    send.type = 'button';
    send.addEventListener('click', () => flush());
  };

  // Why a request was refused, in words.
  const refusal = async (answer) => {
    try {
      return (await answer.json()).detail;
    } catch {
      return `refused with status ${answer.status}`;
    }
  };

  // Sends one record; true once all of it has arrived.
  const send = async (record, csrf) => {
    const headers = { 'x-csrf-token': csrf, accept: 'application/json' };
    if (!record.written) {
      const form = { ...headers, 'content-type': 'application/x-www-form-urlencoded' };
      const answer = await fetch(record.action, { method: 'POST', headers: form, body: record.body });
      if (answer.status >= 500) return false;
      if (!answer.ok) {
        await keep({ ...record, problem: await refusal(answer) });
        return false;
      }
      record.written = true;
      await keep(record);
    }
    while (record.photos.length) {
      const photo = { method: 'POST', headers: { ...headers, 'content-type': 'application/octet-stream' }, body: record.photos[0] };
      const answer = await fetch(`/api/v1/services/${record.key}/photos`, photo);
      if (answer.status >= 500) return false;
      if (!answer.ok) {
        await keep({ ...record, problem: await refusal(answer) });
        return false;
      }
      record.photos.shift();
      await keep(record);
    }
    await forget(record.key);
    return true;
  };

  let busy = false;
  const flush = async () => {
    if (busy) return [];
    busy = true;
    const arrived = [];
    try {
      const records = await waiting();
      const answer = await fetch('/queue/pass', { headers: { accept: 'application/json' }, cache: 'no-store' });
      if (answer.status === 401 || answer.redirected) { if (records.length) said = 'Sign in, and they are sent.'; return arrived; }
      if (!answer.ok) return arrived;
      const { name, csrf, now } = await answer.json();
      localStorage.setItem('ahead', String(now - Date.now()));
      const others = new Set();
      for (const record of records) {
        if (record.writer && record.writer !== name) { others.add(record.writer); continue; }
        if (await send(record, csrf)) arrived.push(record);
      }
      if (others.size) said = `Records of ${[...others].join(', ')} are sent once they sign in on this phone.`;
      else if (arrived.length) said = '';
      if (arrived.length) newest = arrived;
    } catch {
      if ((await waiting()).length) said = 'No connection just now; what you write is kept on this phone and sent later.';
    } finally {
      busy = false;
      await tell();
    }
    return arrived;
  };

  // What is written down, in one line: the work that is ticked, as the form calls it.
  const told = (form) => {
    const ticked = [...form.querySelectorAll('input[name="work"]:checked')].map((box) => box.closest('label').textContent.trim());
    return ticked.length ? ticked.join(', ') : 'Looked at';
  };

  const write = async (form) => {
    const fields = new FormData(form);
    const key = hex();
    fields.set('key', key);
    fields.delete('csrf');
    const at = form.elements.at;
    // What says now is now by the yard's clock, whenever the page was opened.
    if (at && 'now' in at.dataset && at.value === at.defaultValue) fields.set('at', new Date(Date.now() + Number(localStorage.getItem('ahead') ?? 0)).toISOString());
    const picked = [...(form.querySelector('input[type="file"]')?.files ?? [])];
    const photos = await Promise.all(picked.slice(0, Number(form.querySelector('input[type="file"]')?.dataset.most ?? 0)).map(shrunk));
    const record = {
      key, photos, action: form.getAttribute('action'), body: new URLSearchParams(fields).toString(),
      says: told(form), title: form.dataset.title ?? document.querySelector('h1').textContent, writer: form.dataset.writer ?? '', at: Date.now(),
    };
    await keep(record);
    return record;
  };

  // A depth far from the design may be so, or a slip of the pen: it is asked for, and taken all the same.
  const FAR = 4;
  for (const field of document.querySelectorAll('form.record input[data-design]')) {
    const asks = element('p', '', field.parentElement, 'hint');
    asks.setAttribute('role', 'status');
    field.addEventListener('change', () => {
      const [found, design] = [Number(field.value), Number(field.dataset.design)];
      const isFar = field.value !== '' && design > 0 && (found * FAR <= design || found >= design * FAR);
      asks.textContent = isFar ? `Surely ${found} ${field.dataset.unit}? By design it is ${design} ${field.dataset.unit}.` : '';
    });
  }

  for (const form of document.querySelectorAll('form.record')) {
    for (const field of form.querySelectorAll('.photos')) field.hidden = false;
    form.addEventListener('submit', async (event) => {
      event.preventDefault();
      const button = form.querySelector('button[type="submit"]');
      button.disabled = true;
      try {
        const record = await write(form);
        form.reset();
        const arrived = await flush();
        if (arrived.some((sent) => sent.key === record.key) && !('stay' in form.dataset)) { location.assign(`/services/${record.key}?saved=1`); return; }
        form.dispatchEvent(new CustomEvent('kept', { bubbles: true, detail: { key: record.key, says: record.says, arrived: arrived.some((sent) => sent.key === record.key) } }));
        box.scrollIntoView({ block: 'start' });
      } catch (error) {
        await tell(`This phone could not keep the record: ${error.message}. Nothing was sent.`);
      } finally {
        button.disabled = false;
      }
    });
  }

  window.addEventListener('online', () => flush());
  document.addEventListener('visibilitychange', () => { if (!document.hidden) flush(); });
  setInterval(async () => { if ((await waiting()).length) flush(); }, AGAIN_EVERY);
  tell().then(() => flush());
})();
