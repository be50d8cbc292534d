// Keeps the open visit sheet on this phone, so that it opens again where there is no signal.
(() => {
  'use strict';
  // On a phone what is to be done comes first; plans and what is only looked at are folded away until somebody asks.
  if (matchMedia('(max-width: 40rem)').matches) {
    for (const details of document.querySelectorAll('details.fold')) details.open = false;
  }
  const kept = document.getElementById('kept');
  if (!kept) return;
  for (const form of document.querySelectorAll('form.record')) {
    form.addEventListener('kept', () => {
      form.closest('.stop').classList.add('done');
      form.closest('details').open = false;
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
