// Answers for the daemon where there is no signal: visit sheets as they were seen last, with their styles and scripts.
'use strict';
const CACHE = 'yard';
const MOST = 80; // entries kept
const PATIENCE = 4000; // ms, for a signal that is barely there

const isSheet = (url) => /^\/(systems|properties)\/[^/]+\/sheet$/.test(url.pathname);
const isAsset = (url) => url.pathname.startsWith('/assets/');

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));

const keep = async (request, answer) => {
  const cache = await caches.open(CACHE);
  await cache.put(request, answer);
  const held = await cache.keys();
  for (const old of held.slice(0, Math.max(0, held.length - MOST))) await cache.delete(old);
};

const asset = async (request) => {
  const known = await caches.match(request);
  if (known) return known;
  const answer = await fetch(request);
  if (answer.ok) await keep(request, answer.clone());
  return answer;
};

const sheet = async (request) => {
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE) });
    if (answer.ok && !answer.redirected) await keep(request.url, answer.clone());
    return answer;
  } catch (error) {
    const known = await caches.match(request.url);
    if (known) return known;
    throw error;
  }
};

// Any other page without a signal: say so, and name the sheets that are here.
const text = (words) => words.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`);
const elsewhere = async (request) => {
  try {
    return await fetch(request);
  } catch {
    const held = await (await caches.open(CACHE)).keys();
    const sheets = held.map((known) => new URL(known.url)).filter(isSheet);
    const list = sheets.map((url) => `<li><a href="${text(url.pathname)}">${text(url.pathname.split('/')[2])}</a></li>`).join('');
    // The styles that the sheets were kept with; an older one of the same name comes first and is overruled.
    const styles = held.map((known) => new URL(known.url)).filter((url) => isAsset(url) && url.pathname.endsWith('.css')).map((url) => url.pathname + url.search);
    const links = styles.map((path) => `<link rel="stylesheet" href="${text(path)}">`).join('');
    const page = `<!DOCTYPE html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">${links}<title>No signal – Basinward</title><main id="main"><h1>No signal</h1><p>${list ? 'These visit sheets are on this phone:' : 'No visit sheet is on this phone yet.'}</p><ul class="past">${list}</ul></main>`;
    const headers = { 'content-type': 'text/html; charset=utf-8', 'content-security-policy': "default-src 'none'; style-src 'self'" };
    return new Response(page, { status: 503, headers });
  }
};

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === 'POST' && url.pathname === '/sign-out') {
    // Whoever signs out leaves no pages behind; records that wait stay until their writer is back.
    event.waitUntil(caches.delete(CACHE));
    return;
  }
  if (request.method !== 'GET') return;
  if (isAsset(url)) event.respondWith(asset(request));
  else if (isSheet(url) && request.mode === 'navigate') event.respondWith(sheet(request));
  else if (request.mode === 'navigate') event.respondWith(elsewhere(request));
});
