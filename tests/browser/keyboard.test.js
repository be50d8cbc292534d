// The main paths without a pointer: Tab, Enter and the arrows.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { openBrowser, openPage, startDemo, until } from './rig.js';

let demo;
let browser;
let page;
before(async () => {
  [demo, browser] = [await startDemo(60), await openBrowser()];
  page = await openPage(browser);
});
after(async () => { await browser?.close(); await demo?.stop(); });

const focused = () => page.evaluate(() => {
  const at = document.activeElement;
  const box = at.getBoundingClientRect();
  // Parts of a plan are outlined themselves, not by the box around them.
  const isMarked = getComputedStyle(at).outlineStyle !== 'none' || (at.matches('g:focus-visible') && getComputedStyle(at.firstChild).strokeWidth === '4px');
  const shown = isMarked && box.width > 0 && box.bottom > 0 && box.top < innerHeight;
  return { words: (at.getAttribute('aria-label') ?? at.textContent).trim(), shown, isPage: at === document.body };
});

// Presses Tab until what has the focus says `words`; everything on the way shows that it has it.
const tabTo = async (words, most = 120) => {
  for (let presses = 1; presses <= most; presses += 1) {
    await page.keyboard.press('Tab');
    const at = await focused();
    // Past the last link the focus goes to the browser itself.
    assert.ok(at.shown || at.isPage, `the focus cannot be seen on “${at.words}”`);
    if (words.test(at.words)) return presses;
  }
  throw new Error(`not reached in ${most} steps: ${words}`);
};

test('from the first page to an acknowledged alert', async (t) => {
  await page.goto(demo.home);
  assert.equal(await tabTo(/^Skip/), 1);
  await page.keyboard.press('Enter');
  const first = await tabTo(/^Why, and what to do/);
  await page.keyboard.press('Enter');
  await page.waitForURL(/\/systems\//);
  await page.goto(`${demo.home}/alerts?show=open`);
  await tabTo(/^Skip/);
  await page.keyboard.press('Enter');
  await page.waitForTimeout(100);
  const link = page.locator('.alerts .name a').first();
  const name = (await link.textContent()).trim();
  const second = await tabTo(new RegExp(`^${name.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')}$`));
  await page.keyboard.press('Enter');
  await page.waitForURL(/\/alerts\/\d+$/);
  const third = await tabTo(/^Acknowledge/);
  await page.keyboard.press('Enter');
  await page.getByText(/acknowledged by/i).first().waitFor();
  t.diagnostic(`Tab was pressed ${first}, ${second} and ${third} times`);
});

test('a value of the timeline is told, and the stretch moves', async () => {
  await page.goto(`${demo.home}/systems/larkmere-terrace`);
  const box = page.locator('.timeline').first();
  await until('the timeline has the focus', async () => {
    await page.keyboard.press('Tab');
    return box.evaluate((it) => it === document.activeElement);
  });
  await page.keyboard.press('ArrowLeft');
  await until('a value is told', async () => /\d/.test(await page.locator('#told').textContent()));
  const from = await box.getAttribute('data-from');
  await page.keyboard.press('-');
  await until('the stretch is longer', async () => (await box.getAttribute('data-from')) !== from);
});

test('a basin is put in its place on the plan', async () => {
  await page.goto(`${demo.home}/setup`);
  const basin = page.getByRole('button', { name: /^Basin basin-2/ });
  await until('the basin has the focus', async () => {
    await page.keyboard.press('Tab');
    return basin.evaluate((it) => it === document.activeElement || it.contains(document.activeElement));
  });
  const before = await basin.getAttribute('aria-label');
  await page.keyboard.press('ArrowRight');
  await until('it has moved', async () => (await basin.getAttribute('aria-label')) !== before);
  assert.ok((await focused()).shown, 'it keeps the focus');
});

test('no page complained on the way', () => assert.deepEqual(page.complaints, []));
