// Keeps an open page up to date: hears which of its parts changed, fetches those (or all, where that is not
// known) and swaps only those whose print differs. Without this script the page still has its refresh link.
(() => {
  'use strict';
  const body = document.body;

  // Who comes for one finding wants to read all of it.
  const unfold = () => document.querySelector('.finding:target details')?.setAttribute('open', '');
  unfold();
  window.addEventListener('hashchange', unfold);

  // On a phone what is wrong comes first; the drains are folded away until somebody asks for them.
  const fold = (root) => {
    if (!matchMedia('(max-width: 40rem)').matches) return;
    for (const details of root.querySelectorAll('details.fold')) details.open = false;
  };
  fold(document);

  if (!body.dataset.fragment || !window.EventSource || !window.fetch) return;

  const main = document.getElementById('main');
  const said = document.getElementById('said');
  const link = document.getElementById('link');
  const learning = document.getElementById('learning');
  const faulty = document.getElementById('faulty');
  let stamp = body.dataset.stamp;
  let ahead = 0; // the daemon's clock less ours, ms
  let fetching = false;
  let again = false;
  let wanted = new Set(); // names of changed parts, or null for all of them

  // What the page shows, as `/live` takes it; null where it shows more than systems.
  const first = body.dataset.fragment.match(/^\/fragments\/first(?:\?(.*))?$/);
  const system = body.dataset.fragment.match(/^\/fragments\/systems\/([^/?]+)/);
  const about = first ? first[1] ?? '' : system && `system=${system[1]}`;

  // Parts in their order, with the headings that they stand under.
  const order = (root) => [...root.querySelectorAll('[data-part], .need h2')].map((p) => p.dataset.part ?? p.textContent).join();
  const parts = (root) => new Map([...root.querySelectorAll('[data-part]')].map((p) => [p.dataset.part, p]));

  const age = (ms) => {
    const minutes = Math.round(ms / 60000);
    if (minutes < 1) return 'just now';
    if (minutes < 90) return `${minutes} min ago`;
    const hours = Math.round(minutes / 60);
    return hours < 36 ? `${hours} h ago` : `${Math.round(hours / 24)} days ago`;
  };

  const tellAges = () => {
    const now = Date.now() + ahead;
    for (const time of document.querySelectorAll('time[data-age]')) {
      const ago = age(now - Date.parse(time.dateTime));
      if (time.dataset.ago === ago) continue;
      time.dataset.words ??= time.textContent;
      time.dataset.ago = ago;
      time.textContent = `${time.dataset.words} (${ago})`;
    }
  };

  // The focus stays where it was, by part and position among what can take it.
  const focusables = (part) => [...part.querySelectorAll('a[href], button, [tabindex]')];

  // What a part says, apart from when: that the same was heard once more is no news.
  const told = (part) => {
    const copy = part.cloneNode(true);
    copy.querySelectorAll('time').forEach((time) => time.remove());
    return copy.textContent;
  };

  const swap = (old, fresh) => {
    // Neither what is being read nor a form under somebody's hands is swapped away.
    if ('busy' in old.dataset || old.querySelector('input:checked')) return;
    if (old.contains(document.activeElement) && document.activeElement.matches('input, select, textarea')) return;
    const open = [...old.querySelectorAll('details')].map((details) => details.open);
    [...fresh.querySelectorAll('details')].forEach((details, i) => { if (i < open.length) details.open = open[i]; });
    const held = old.contains(document.activeElement) ? focusables(old).indexOf(document.activeElement) : -1;
    old.replaceWith(fresh);
    if (told(old) !== told(fresh)) fresh.classList.add('fresh');
    if (held >= 0) focusables(fresh)[held]?.focus({ preventScroll: true });
    if (fresh.hasAttribute('data-say')) said.textContent = fresh.textContent;
  };

  const refresh = async () => {
    if (fetching) { again = true; return; }
    fetching = true;
    const began = performance.now();
    try {
      const asked = body.dataset.fragment;
      const some = wanted && first ? [...wanted].join() : '';
      wanted = new Set();
      const address = some ? `${asked}${asked.includes('?') ? '&' : '?'}parts=${encodeURIComponent(some)}` : asked;
      const answer = await fetch(address, { headers: { accept: 'text/html' } });
      // What it is about is gone, such as a system that was retired: an old state must not pass for one that is watched.
      if (answer.status === 404 && asked === body.dataset.fragment) { location.reload(); return; }
      if (!answer.ok || asked !== body.dataset.fragment) { wanted = null; return; }
      const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
      fold(page);
      const [here, there] = [parts(main), parts(page)];
      const sameOrder = some ? [...there.keys()].every((name) => here.has(name)) : order(main) === order(page);
      if (sameOrder) {
        for (const [name, fresh] of there) {
          const old = here.get(name);
          if (old.dataset.print !== fresh.dataset.print) swap(old, document.adoptNode(fresh));
        }
      } else if (some) {
        [wanted, again] = [null, true];
      } else if (!main.contains(document.activeElement) || document.activeElement === main) {
        const rest = main.querySelector('details.rest')?.open;
        main.replaceChildren(...page.body.childNodes);
        if (rest) main.querySelector('details.rest')?.setAttribute('open', '');
        said.textContent = main.querySelector('[data-say]')?.textContent ?? 'The page has changed.';
      } else {
        said.textContent = 'The page has changed; refresh it to see the new order.';
      }
      tellAges();
    } catch {
      wanted = null;
      // The connection is gone; the event source says so and comes back by itself.
    } finally {
      // The first change is fetched at once, the next after twice as long as it took: a slow link stays usable.
      setTimeout(() => {
        fetching = false;
        if (again) { again = false; refresh(); }
      }, Math.min(2 * (performance.now() - began), 5000));
    }
  };

  // When the page was drawn matters once it is no longer kept up to date.
  const asOf = document.querySelector('.as-of');
  let upTo = null;
  const tellDrawn = (isLive) => {
    if (!asOf || !upTo) return;
    asOf.hidden = isLive;
    const time = asOf.querySelector('time');
    time.dateTime = new Date(upTo).toISOString();
    time.dataset.words = 'last';
    tellAges();
  };

  // A browser keeps six connections to one place at most: pages that nobody sees hold none.
  let events = null;
  const rest = () => {
    events?.close();
    events = null;
  };
  const listen = () => {
    if (events || document.hidden) return;
    events = new EventSource(`/live?since=${encodeURIComponent(stamp)}${about ? `&${about}` : ''}`);
    events.addEventListener('board', (event) => {
      const board = JSON.parse(event.data);
      ahead = board.now - Date.now();
      link.textContent = board.link;
      if (board.learning && learning) learning.textContent = board.learning;
      else learning?.remove();
      if (faulty) {
        faulty.hidden = !board.faulty;
        faulty.querySelector('span').textContent = board.faulty ?? '';
      }
      upTo = board.now;
      tellDrawn(true);
      const news = String(board.stamp) !== String(stamp);
      stamp = board.stamp;
      const named = about === null ? null : board.parts;
      if (!named) wanted = null; else if (wanted) named.forEach((name) => wanted.add(name));
      if (news && (!named || named.length)) refresh(); else tellAges();
    });
    events.addEventListener('error', () => {
      link.textContent = 'this page has lost the daemon; trying again';
      tellDrawn(false);
    });
  };

  document.addEventListener('visibilitychange', () => (document.hidden ? rest() : listen()));
  window.addEventListener('pagehide', rest);
  window.addEventListener('pageshow', listen);

  tellAges();
  listen();
  setInterval(tellAges, 20000);
})();
