// The visit sheet where there is no signal: it opens, records are kept on the phone, and each arrives once.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { SIZES, openBrowser, openPage, shoot, startDemo, until, violations } from './rig.js';

const SHEET = '/systems/larkmere-terrace/sheet';
let daemon, browser, page;

before(async () => {
  [daemon, browser] = await Promise.all([startDemo(3), openBrowser()]);
  page = await openPage(browser, { viewport: SIZES[1][1] });
});
after(async () => {
  await browser?.close();
  await daemon?.stop();
});

const records = async () => {
  const answer = await fetch(`${daemon.home}/api/v1/services?limit=1000`);
  return (await answer.json()).items;
};
const called = async (note) => (await records()).filter((item) => item.record.note === note);

// Writes a record about the stop called `place`.
const write = async (on, place, note) => {
  const stop = on.locator('.stop', { has: on.getByRole('link', { name: place, exact: true }) });
  // On a phone what is only looked at lies folded.
  const fold = on.locator('details.fold', { has: stop });
  if ((await fold.count()) && !(await fold.evaluate((it) => it.open))) await fold.locator('> summary').click();
  await stop.locator('summary', { hasText: 'Write down' }).click();
  await stop.getByLabel('Outlet cleared').check();
  await stop.getByLabel('Air gap found').fill('45');
  await stop.getByLabel('Anything else').fill(note);
  await stop.getByRole('button', { name: 'Write it down' }).click();
};

test('a sheet that was opened once opens without a signal', async () => {
  await page.goto(daemon.home + SHEET);
  await page.locator('#kept', { hasText: 'opens without a signal' }).waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'sheet-phone');
  await page.context().setOffline(true);
  await page.reload();
  await page.getByRole('heading', { name: 'Visit sheet', exact: false }).waitFor();
  await page.goto(`${daemon.home}/alerts`);
  const margin = await page.locator('main').evaluate((it) => it.getBoundingClientRect().left + parseFloat(getComputedStyle(it).paddingLeft));
  assert.ok(margin > 8, `the page without a signal is styled: ${margin}`);
  await page.getByRole('link', { name: 'larkmere-terrace' }).click();
  await page.waitForURL(`**${SHEET}`);
});

test('what is written down without a signal waits on the phone and arrives once', async () => {
  await write(page, 'Quince tree basin', 'written in the yard');
  await page.getByText('One record waits on this phone.').waitFor();
  assert.deepEqual(await called('written in the yard'), []);
  // The phone goes into a pocket; the page is opened anew, still without a signal.
  const again = await page.context().newPage();
  await page.close();
  page = again;
  await page.goto(daemon.home + SHEET);
  await page.getByText('One record waits on this phone.').waitFor();
  await shoot(page, 'sheet-without-signal');
  await page.context().setOffline(false);
  await page.getByText(/has arrived/).waitFor();
  const [arrived, ...more] = await called('written in the yard');
  assert.deepEqual(more, []);
  assert.deepEqual(arrived.record.subject, { basin: 'quince' });
  assert.equal(arrived.record.air_gap_mm, 45);
});

test('an answer that is lost on the way does not make two records of one', async () => {
  let lost = 0;
  await page.route('**/systems/*/record', async (route) => {
    if (route.request().method() !== 'POST' || lost++) return route.continue();
    await route.fetch();
    return route.abort('connectionreset');
  });
  await page.goto(daemon.home + SHEET);
  await write(page, 'Fig basin', 'the answer was lost');
  await until('the record is there, its answer lost', async () => lost >= 1 && (await called('the answer was lost')).length === 1);
  const send = page.getByRole('button', { name: 'Send now' });
  if (await send.count()) await send.click();
  await page.getByText(/has arrived/).waitFor();
  assert.equal((await called('the answer was lost')).length, 1);
  assert.ok(lost >= 2, 'it was sent again');
});

test('what was written down is named on the sheet, counts as done and can be corrected', async () => {
  await page.unrouteAll();
  await page.goto(daemon.home + SHEET);
  await write(page, 'Mulberry basin', 'seen on the sheet');
  const stop = page.locator('.stop.done', { has: page.getByRole('link', { name: 'Mulberry basin', exact: true }) });
  await stop.getByText(/^Today: Outlet cleared/).waitFor();
  await page.locator('.queue').getByText(/Mulberry basin.*Outlet cleared.*has arrived/).waitFor();
  await stop.getByRole('link', { name: 'See it or correct it' }).click();
  await page.waitForURL('**/services/*');
  await page.getByText('seen on the sheet').first().waitFor();
  await page.goto(daemon.home + SHEET);
  await stop.getByText(/outlet cleared, today/i).waitFor();
});

test('a depth far from the design is asked for again', async () => {
  await page.goto(`${daemon.home}/systems/larkmere-terrace/record?at=basin:quince`);
  await page.getByLabel('Air gap found').fill('15');
  await page.getByLabel('Air gap found').blur();
  await page.getByText(/^Surely 15 mm\?/).waitFor();
  await page.getByLabel('Air gap found').fill('140');
  await page.getByLabel('Air gap found').blur();
  await until('it is taken', async () => !(await page.getByText(/^Surely/).count()));
});

test('a photograph arrives with its record, small and bare', async () => {
  await page.goto(`${daemon.home}/systems/larkmere-terrace/record?at=splitter:s1`);
  await page.getByLabel('Splitter levelled').check();
  await page.getByLabel('Found', { exact: true }).fill('2');
  // 4000 by 3000 pixels, made here.
  const drawn = await page.evaluate(async () => {
    const canvas = new OffscreenCanvas(4000, 3000);
    canvas.getContext('2d').fillRect(0, 0, 2000, 3000);
    const bytes = new Uint8Array(await (await canvas.convertToBlob({ type: 'image/png' })).arrayBuffer());
    return Array.from(bytes);
  });
  await page.getByLabel('Photographs', { exact: false }).setInputFiles({ name: 'splitter.png', mimeType: 'image/png', buffer: Buffer.from(drawn) });
  await page.getByRole('button', { name: 'Write it down' }).click();
  await page.waitForURL('**/services/*');
  const picture = page.locator('.pictures img');
  await picture.waitFor();
  await until('the picture is drawn', () => picture.evaluate((it) => it.complete && it.naturalWidth > 0));
  assert.equal(await picture.evaluate((it) => Math.max(it.naturalWidth, it.naturalHeight)), 1600);
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'record-with-photograph');
});

test('whoever signs out leaves no sheet behind', async () => {
  await page.goto(daemon.home + SHEET);
  await page.locator('#kept', { hasText: 'opens without a signal' }).waitFor();
  await page.evaluate(() => fetch('/sign-out', { method: 'POST' }));
  await until('the sheets are gone', () => page.evaluate(async () => !(await caches.has('yard'))));
});

test('the other pages of the yard keep to the rules for everybody', async () => {
  for (const path of ['/systems/larkmere-terrace/labels', '/systems/larkmere-terrace/services', '/systems/larkmere-terrace/tests',
    '/systems/larkmere-terrace/year', '/properties/larkmere-house/sheet',
    '/systems/larkmere-terrace/record?at=basin:quince']) {
    for (const colorScheme of ['light', 'dark']) {
      const look = await openPage(browser, { viewport: SIZES[0][1], colorScheme });
      await look.goto(daemon.home + path);
      assert.deepEqual(await violations(look), [], path);
      assert.equal(await look.evaluate(() => document.documentElement.scrollWidth > innerWidth), false, `${path} is too wide`);
      await look.context().close();
    }
  }
});
