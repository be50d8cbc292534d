// The timeline by pointer and keyboard: tells exact values, moves, zooms. Without this script its links do the
// same a page at a time.
(() => {
  'use strict';
  if (!window.fetch) return;
  const HOUR = 3600000;

  // What each column of a timeline says, by its address; fetched when somebody first points at it.
  const heard = new Map();
  const told = (box) => {
    const address = box.dataset.told;
    if (!heard.has(address)) {
      if (heard.size > 8) heard.clear();
      heard.set(address, fetch(address).then((answer) => (answer.ok ? answer.json() : { columns: [] }), () => ({ columns: [] })));
    }
    return heard.get(address);
  };

  const part = (box) => box.closest('[data-part]');
  const readout = (box) => part(box).querySelector('.told');
  let column = -1;

  const point = async (box, at) => {
    // A page that is being read is not swapped under the reader, nor while the answer is still on its way.
    part(box).dataset.busy = '';
    const { columns } = await told(box);
    if (!columns.length) delete part(box).dataset.busy;
    // Whoever has turned away meanwhile is told nothing more.
    if (!('busy' in part(box).dataset)) return;
    column = Math.max(0, Math.min(columns.length - 1, at(columns.length)));
    let line = box.querySelector('.pointer');
    if (!line) {
      line = document.createElement('div');
      line.className = 'pointer';
      box.append(line);
    }
    line.style.left = `${((column + 0.5) / columns.length) * 100}%`;
    const [when, ...says] = columns[column];
    const out = readout(box);
    out.replaceChildren();
    const strong = document.createElement('b');
    strong.textContent = when;
    out.append(strong, says.length ? `: ${says.join('; ')}` : ': nothing was heard');
  };

  const leave = (box) => {
    box.querySelector('.pointer')?.remove();
    readout(box).replaceChildren();
    delete part(box).dataset.busy;
    column = -1;
  };

  const place = (box, event) => {
    const { left, width } = box.getBoundingClientRect();
    return Math.max(0, Math.min(0.9999, (event.clientX - left) / width));
  };

  // Goes to an address: fetches the page's fragment for it and puts its timeline in place of this one.
  let journey = 0;
  const go = async (address, keep) => {
    const [, query = ''] = address.split('#')[0].split('?');
    const bare = document.body.dataset.fragment.split('?')[0];
    const mine = ++journey;
    const old = document.querySelector('.timeline')?.closest('[data-part]');
    if (!old) return;
    old.classList.add('moving');
    try {
      const answer = await fetch(`${bare}?${query}`);
      if (!answer.ok) throw new Error(answer.statusText);
      const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
      if (mine !== journey) return;
      const fresh = document.adoptNode(page.querySelector('.timeline').closest('[data-part]'));
      const open = old.querySelector('details')?.open;
      const focused = old.contains(document.activeElement) && document.activeElement;
      const way = focused && focused.dataset?.way;
      const text = focused && focused.textContent;
      old.replaceWith(fresh);
      if (open) fresh.querySelector('details').open = true;
      document.body.dataset.fragment = `${bare}?${query}`;
      const refresh = document.querySelector('footer .as-of a');
      if (refresh) refresh.href = `${fresh.querySelector('.timeline').dataset.page}?${query}`;
      if (!keep) history.pushState({ timeline: true }, '', `?${query}`);
      if (!focused) return;
      const links = [...fresh.querySelectorAll('[data-way]')];
      const next = way ? links.find((a) => a.dataset.way === way) : links.find((a) => a.textContent === text);
      (next ?? fresh.querySelector('.timeline')).focus({ preventScroll: true });
    } catch {
      location.assign(address);
    } finally {
      old.classList.remove('moving');
    }
  };

  const stretch = (box) => ({ from: Number(box.dataset.from), to: Number(box.dataset.to) });
  const whole = (ms) => new Date(Math.round(ms / 1000) * 1000).toISOString().replace('.000', '');
  const to = (from, until) => go(`?from=${whole(from)}&to=${whole(until)}`);

  const pan = (box, share) => {
    const { from, to: until } = stretch(box);
    const by = (until - from) * share;
    to(from + by, until + by);
  };

  // Zooms around a place, which stays where it is.
  const zoom = (box, factor, around) => {
    const { from, to: until } = stretch(box);
    const length = Math.max(HOUR, (until - from) * factor);
    const still = from + (until - from) * around;
    to(still - length * around, still + length * (1 - around));
  };

  document.addEventListener('click', (event) => {
    const link = event.target.closest?.('a[data-way]');
    if (!link || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(link.getAttribute('href'));
  });

  window.addEventListener('popstate', () => {
    if (document.querySelector('.timeline')) go(location.search || '?', true);
  });

  document.addEventListener('keydown', (event) => {
    const box = event.target;
    if (!box.classList?.contains('timeline') || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? 10 : 1;
    const around = () => (column < 0 ? 0.5 : parseFloat(box.querySelector('.pointer')?.style.left ?? '50') / 100);
    const keys = {
      ArrowLeft: () => point(box, (n) => (column < 0 ? n - 1 : column - step)),
      ArrowRight: () => point(box, (n) => (column < 0 ? 0 : column + step)),
      Home: () => point(box, () => 0),
      End: () => point(box, (n) => n - 1),
      PageUp: () => pan(box, -0.5),
      PageDown: () => pan(box, 0.5),
      '+': () => zoom(box, 0.5, around()),
      '=': () => zoom(box, 0.5, around()),
      '-': () => zoom(box, 2, around()),
      Escape: () => leave(box),
    };
    const act = keys[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });

  document.addEventListener('focusout', (event) => {
    if (event.target.classList?.contains('timeline')) leave(event.target);
  });

  // One finger or the mouse drags, two fingers pinch, a mouse over it only points.
  const held = new Map();
  let drag = null;

  const span = () => {
    const [a, b] = [...held.values()];
    return Math.abs(a.clientX - b.clientX);
  };

  document.addEventListener('pointerdown', (event) => {
    const box = event.target.closest?.('.timeline');
    if (!box || event.button || event.target.closest('a')) return;
    held.set(event.pointerId, event);
    if (held.size === 1) drag = { box, x: event.clientX, moved: 0, wide: 0 };
    else if (held.size === 2 && drag) drag.wide = span();
  });

  document.addEventListener('pointermove', (event) => {
    const box = event.target.closest?.('.timeline');
    if (held.has(event.pointerId)) held.set(event.pointerId, event);
    if (drag && held.size === 1 && !drag.wide) {
      drag.moved = event.clientX - drag.x;
      if (Math.abs(drag.moved) > 8) {
        drag.box.classList.add('dragged');
        drag.box.style.setProperty('--by', `${drag.moved}px`);
      }
      return;
    }
    if (box && !held.size && event.pointerType === 'mouse') {
      const x = place(box, event);
      point(box, (n) => Math.floor(x * n));
    }
  });

  const release = (event) => {
    if (!held.has(event.pointerId)) return;
    if (drag && event.type === 'pointerup') {
      const { box, moved, wide } = drag;
      const width = box.getBoundingClientRect().width;
      if (wide && held.size === 2) zoom(box, wide / Math.max(20, span()), 0.5);
      else if (!wide && Math.abs(moved) > 8) pan(box, -moved / width);
      else if (!wide) {
        const x = place(box, event);
        point(box, (n) => Math.floor(x * n));
      }
    }
    drag?.box.classList.remove('dragged');
    held.delete(event.pointerId);
    if (!held.size) drag = null;
  };
  document.addEventListener('pointerup', release);
  document.addEventListener('pointercancel', release);

  document.addEventListener('pointerout', (event) => {
    const box = event.target.closest?.('.timeline');
    if (box && event.pointerType === 'mouse' && !box.contains(event.relatedTarget) && document.activeElement !== box) leave(box);
  });

  document.addEventListener('wheel', (event) => {
    const box = event.target.closest?.('.timeline');
    if (!box || !event.ctrlKey) return;
    event.preventDefault();
    zoom(box, event.deltaY > 0 ? 1.5 : 1 / 1.5, place(box, event));
  }, { passive: false });
})();
