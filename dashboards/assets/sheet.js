// Keeps the open visit sheet on this phone, so that it opens again where there is no signal.
(() => {
  'use strict';
  // On a phone what is to be done comes first; plans and what is only looked at are folded away until somebody asks.
  if (matchMedia('(max-width: 40rem)').matches) {
    for (const details of document.querySelectorAll('details.fold')) details.open = false;
  }
  const kept = document.getElementById('kept');
  if (!kept) return;
  // As the sheet says it when it is drawn anew.
  const NUMBERS = ['no', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine', 'ten', 'eleven', 'twelve'];
  const words = (number, first = false) => {
    const said = NUMBERS[number] ?? String(number);
    return first ? said[0].toUpperCase() + said.slice(1) : said;
  };
  const summary = document.getElementById('places');
  const count = () => {
    const all = document.querySelectorAll('.stop[data-due]');
    const done = [...all].filter((stop) => stop.classList.contains('done')).length;
    const left = all.length - done;
    if (summary && done) summary.textContent = left ? `${words(left, true)} of ${words(all.length)} places still ${left === 1 ? 'needs' : 'need'} work; ${words(done)} done today.` : 'Somebody was at each place today where work is due.';
  };
  for (const form of document.querySelectorAll('form.record')) {
    form.addEventListener('kept', ({ detail }) => {
      const stop = form.closest('.stop');
      stop.classList.add('done');
      form.closest('details').open = false;
      // What was written down takes the place of what was known before, and the place counts as done.
      const last = stop.querySelector('[data-last]');
      last.replaceChildren(`Today: ${detail.says}. `);
      if (detail.arrived) Object.assign(last.appendChild(document.createElement('a')), { className: 'target', href: `/services/${detail.key}`, textContent: 'See it or correct it' });
      count();
    });
  }
  if (!('serviceWorker' in navigator) || !window.caches) {
    kept.textContent = 'This sheet needs a signal: without HTTPS a phone keeps no pages. Print it, or keep it open.';
    return;
  }
  const keep = async () => {
    await navigator.serviceWorker.register('/worker.js');
    await navigator.serviceWorker.ready;
    const files = [...document.querySelectorAll('link[rel="stylesheet"], link[rel="icon"]')].map((link) => link.href);
    files.push(...[...document.querySelectorAll('script[src]')].map((script) => script.src));
    const cache = await caches.open('yard');
    // Only what came from the daemon just now: a page from the cache is there already.
    if (navigator.onLine) await cache.addAll([location.href, ...files]);
    kept.textContent = 'It is kept on this phone and opens without a signal; so is what you write down.';
  };
  keep().catch(() => {
    kept.textContent = navigator.serviceWorker.controller
      ? 'No connection: this is the sheet as it was kept. What you write down is sent later.'
      : 'This phone could not keep the sheet: print it, or keep it open.';
  });
})();
