// The main paths, walked like a person would: by labels and names, not by the page's inner structure.

import assert from 'node:assert/strict';
import { readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { openBrowser, openPage, PASSWORD, publish, shoot, SIZES, startFresh, until, violations } from './rig.js';

let daemon;
let browser;
let page;
before(async () => {
  [daemon, browser] = [await startFresh(), await openBrowser()];
  page = await openPage(browser);
});
after(async () => { await browser?.close(); await daemon?.stop(); });

test('the first run: the printed code makes an owner', async () => {
  await page.goto(daemon.home);
  assert.equal(new URL(page.url()).pathname, '/welcome');
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-welcome');
  const [, code] = daemon.log().match(/code=([A-Z2-9-]{19})/);
  await page.getByLabel('One-time code').fill(code);
  await page.getByLabel('Your name').fill('Maria');
  await page.getByLabel('Password', { exact: true }).fill(PASSWORD);
  await page.getByLabel('Password again').fill(PASSWORD);
  await page.getByRole('button', { name: 'Become the owner' }).click();
  await page.waitForURL(`${daemon.home}/`);
  await page.getByRole('link', { name: 'Maria' }).waitFor();
});

test('a four-outlet system is registered without seeing its file, and its readings appear', async () => {
  await publish(daemon.broker, 'greywater/node-7/soil', '31.4');
  await page.getByRole('link', { name: 'Sensor messages' }).click();
  await page.getByText('greywater/node-7/soil').waitFor();
  await page.getByRole('link', { name: 'New system' }).click();
  await page.getByLabel('Name', { exact: true }).fill('Alder Court, east terrace');
  assert.equal(await page.getByLabel('Property').getAttribute('placeholder'), 'Alder Court East Terrace');
  await page.getByLabel('Property').fill('Alder Court');
  // Boston gives no zone its name. That is told on leaving the field, and nobody is sent to a place that only sounds alike.
  const zone = page.getByLabel('Time zone');
  const said = page.locator('[data-pointer="/timezone"]');
  await zone.fill('Boston');
  await page.getByText(/another look/).waitFor();
  assert.equal(await said.textContent(), '');
  await zone.blur();
  await said.getByText('only one city of each zone').waitFor();
  assert.doesNotMatch(await said.textContent(), /Did you mean/);
  await page.getByLabel('Time zone').fill('Denver');
  await page.getByLabel('Time zone').blur();
  assert.equal(await page.getByLabel('Time zone').inputValue(), 'America/Denver');
  await page.getByLabel('laundry').check();
  const first = page.getByRole('group', { name: 'Basin 1' });
  await first.getByLabel('Plant').fill('quince tree');
  await page.getByRole('group', { name: 'Basin 1: quince tree' }).waitFor();
  await first.getByLabel('Depth, mm').fill('5');
  await page.getByText('number from 20 to 2000').or(page.locator('.fault')).first().waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-fault');
  await first.getByLabel('Depth, mm').fill('300');
  const topic = first.getByLabel('Sends as').last();
  await topic.selectOption('greywater/node-7/soil');
  const plan = page.getByRole('group', { name: 'Site plan' });
  const basin = plan.getByRole('button', { name: 'Basin basin-2' });
  const before = await basin.getAttribute('aria-label');
  const box = await basin.locator('circle').boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2 + 30, box.y + box.height / 2 + 20, { steps: 4 });
  await page.mouse.up();
  assert.notEqual(await basin.getAttribute('aria-label'), before, 'dragging moves a basin');
  await page.getByText('Ready to save').waitFor();
  await shoot(page, 'path-setup');
  await page.getByRole('button', { name: 'Save the new system' }).click();
  await page.waitForURL('**/systems/alder-court-east-terrace?saved=new');
  await page.getByText('waits for its first reading').waitFor();
  await page.getByRole('heading', { name: 'Connect its sensors' }).waitFor();
  await shoot(page, 'path-connect');
  await page.getByRole('link', { name: 'the sensors of this system and their topics' }).click();
  await page.getByRole('list', { name: 'All sensors' }).getByText('greywater/alder-court-east-terrace/basin-2/float').waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-saved');
  await page.goto(`${daemon.home}/systems/alder-court-east-terrace`);
  const file = await readFile(join(daemon.folder, 'systems/alder-court-east-terrace.toml'), 'utf8');
  assert.match(file, /topic = "greywater\/node-7\/soil"/);
  assert.match(file, /property = "alder-court"/);
  assert.match(file, /fixtures = \["laundry"\]/);
  await publish(daemon.broker, 'greywater/node-7/soil', '27');
  await until('the reading appears on the page', async () => (await page.getByText(/27\s*%/).count()) > 0);
  assert.deepEqual(await violations(page), []);
});

test('a reading is shown soon after it was sent', async (t) => {
  const waits = [];
  for (let content = 20; content < 30; content += 1) {
    const cell = page.getByText(new RegExp(`\\b${content}\\s*%`)).first();
    // The page sits still before each, as it does while nobody showers.
    await page.waitForTimeout(700);
    const sent = performance.now();
    await publish(daemon.broker, 'greywater/node-7/soil', String(content));
    await cell.waitFor({ timeout: 30_000 });
    waits.push(performance.now() - sent);
  }
  waits.sort((a, b) => a - b);
  t.diagnostic(`shown after ${Math.round(waits[5])} ms in the middle, ${Math.round(waits[9])} ms at most`);
});

test('a sensor that was assigned is offered to nobody else', async () => {
  await page.goto(`${daemon.home}/heard`);
  await page.getByRole('heading', { name: 'Heard, but of no system' }).waitFor();
  assert.equal(await page.getByText('greywater/node-7/soil').count(), 0);
});

test('a second system is offered the property and the zone of the first', async () => {
  await page.goto(`${daemon.home}/setup`);
  const property = page.getByLabel('Property');
  await page.getByLabel('Name', { exact: true }).fill('Elm Row');
  assert.equal(await property.locator('option').first().textContent(), 'its own: Elm Row');
  const basin = page.getByRole('group', { name: 'Basin 1' });
  assert.equal(await basin.getByLabel('Height above the floor, mm').isVisible(), false, 'what has a usual value lies folded');
  await basin.getByText('Where it sits, and how it sends').first().click();
  await basin.getByLabel('Height above the floor, mm').waitFor();
  await basin.getByLabel('Height above the floor, mm').fill('9000');
  await basin.getByText('Where it sits, and how it sends').first().click();
  await basin.locator('.fault').first().waitFor();
  await property.selectOption('Alder Court');
  assert.equal(await page.getByLabel('Time zone').inputValue(), 'America/Denver');
  await page.getByText('that of the property’s other systems').waitFor();
  await property.selectOption('another …');
  await page.getByLabel('Its name').fill('Elm Row');
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-second');
});

test('a browser far away proposes its own zone, and one at UTC none', async () => {
  for (const [timezoneId, expected] of [['Europe/Madrid', 'Europe/Madrid'], ['UTC', 'America/Denver']]) {
    const state = await page.context().storageState();
    const other = await openPage(browser, { timezoneId, storageState: state });
    await other.goto(`${daemon.home}/setup`);
    assert.equal(await other.getByLabel('Time zone').inputValue(), expected, timezoneId);
    await other.context().close();
  }
});

test('a change keeps comments, and can be undone', async () => {
  await page.goto(`${daemon.home}/setup/alder-court-east-terrace`);
  await page.getByLabel('People in the household').fill('6');
  await page.getByText('Ready to save').waitFor();
  await page.getByRole('button', { name: 'Save', exact: true }).click();
  await page.waitForURL('**/systems/alder-court-east-terrace?saved=changed');
  const read = () => readFile(join(daemon.folder, 'systems/alder-court-east-terrace.toml'), 'utf8');
  assert.match(await read(), /people = 6/);
  await page.goto(`${daemon.home}/setup/alder-court-east-terrace`);
  const again = page.waitForEvent('load');
  await page.getByRole('button', { name: 'Undo the last change' }).click();
  await until('the file is as before', async () => /people = 2/.test(await read()));
  // The page loads anew by itself; the next test must not meet it on its way.
  await again;
});

test('the form speaks the units of the reader, the file stays metric', async () => {
  await page.goto(`${daemon.home}/units?to=us&back=/setup/alder-court-east-terrace`);
  const first = page.getByRole('group', { name: 'Basin 1: quince tree' });
  await first.getByLabel('Depth, in').fill('0.5');
  await first.getByLabel('Depth, in').blur();
  // 20 to 2000 mm; an inch is 25.4 mm exactly (NIST Handbook 44, appendix C).
  await page.getByText('give 0.79 to 78.74 in').waitFor();
  await first.getByLabel('Depth, in').fill('12');
  await page.getByText('Ready to save').waitFor();
  await page.getByRole('button', { name: 'Save', exact: true }).click();
  await page.waitForURL('**/systems/alder-court-east-terrace?saved=changed');
  assert.match(await readFile(join(daemon.folder, 'systems/alder-court-east-terrace.toml'), 'utf8'), /depth_mm = 304\.8/);
  await page.getByRole('link', { name: 'Change the system', exact: true }).waitFor();
  await page.goto(`${daemon.home}/units?to=metric&back=/`);
});

test('what else is known of a system is filled in where one looks for it, and taken out again', async () => {
  const file = () => readFile(join(daemon.folder, 'systems/alder-court-east-terrace.toml'), 'utf8');
  const save = async () => {
    await page.getByText('Ready to save').waitFor();
    await page.getByRole('button', { name: 'Save', exact: true }).click();
    await page.waitForURL('**/systems/alder-court-east-terrace?saved=changed');
  };
  await page.goto(`${daemon.home}/setup/alder-court-east-terrace`);
  const first = page.getByRole('group', { name: 'Basin 1: quince tree' });
  assert.equal(await first.getByLabel('Thickness of the mulch').isVisible(), false, 'what few need lies folded');
  await first.getByText('Mulch, and the air gap above it').click();
  await first.getByText('usually\u00a0200').waitFor();
  await first.getByLabel('Thickness of the mulch').fill('180');
  await first.getByLabel('Its chips are').selectOption('coarse');
  await first.getByLabel('Laid on').fill('2026-03-01');
  await first.getByLabel('Outlet above the mulch').fill('120');
  await first.getByText('Short name, place on the plan').click();
  await first.getByLabel('Standing water is a flood after').fill('7.5');
  await first.getByLabel('East of the plan').fill('9.5');
  await page.getByText('Where it lies, and since when').click();
  await page.getByLabel('In use since').fill('2026-02-20');
  await page.getByLabel('Latitude').fill('35.69');
  await page.getByLabel('Longitude').focus();
  await page.locator('.fault', { hasText: 'Give both latitude and longitude' }).waitFor();
  await page.getByLabel('Longitude').fill('-105.94');
  await page.getByLabel('A water meter').check();
  await page.getByText('What it counts, and how it sends').click();
  await page.getByLabel('It sits after the diverter').check();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-fields');
  await save();
  const filled = await file();
  for (const line of [/mulch = \{ chip = "coarse", depth_mm = 180, placed = 2026-03-01 \}/, /air_gap_mm = 120/, /flood_hold = "450m"/, /at = \[9\.5, /, /commissioned = 2026-02-20/, /latitude = 35\.69, longitude = -105\.94/, /after_diverter = true/]) assert.match(filled, line);
  await page.goto(`${daemon.home}/setup/alder-court-east-terrace`);
  await first.getByText('Mulch, and the air gap above it').click();
  await first.getByLabel('Thickness of the mulch').fill('');
  await first.getByLabel('Its chips are').selectOption('');
  await first.getByLabel('Laid on').fill('');
  await save();
  assert.doesNotMatch(await file(), /mulch/);
});

test('a flood arrives on the open page by itself', async (t) => {
  await page.goto(daemon.home);
  const now = Date.now();
  // Longer than any flood hold that a soil class gives by itself.
  for (let hours = 96; hours >= 0; hours -= 2) {
    const payload = JSON.stringify({ value: true, time: now - hours * 3_600_000 });
    await publish(daemon.broker, 'greywater/alder-court-east-terrace/basin-2/float', payload);
  }
  const sent = performance.now();
  await page.getByText(/flood|standing water/i).first().waitFor({ timeout: 30_000 });
  await page.getByRole('heading', { name: 'Needs somebody now: 1' }).waitFor();
  t.diagnostic(`shown ${Math.round(performance.now() - sent)} ms after the last reading was sent`);
  await shoot(page, 'path-flood');
});

test('a flood whose water has gone says so, and why it still stands', async () => {
  await page.goto(daemon.home);
  await publish(daemon.broker, 'greywater/alder-court-east-terrace/basin-2/float', JSON.stringify({ value: false, time: Date.now() }));
  const flood = page.locator('.finding', { hasText: 'flooded; the water has gone since' });
  await flood.getByText(/has gone since: the float was down today .* until the floats have been down for half an hour/).waitFor();
  await page.getByText('flooded, dry since').waitFor();
  assert.equal(await page.getByRole('heading', { name: 'Needs somebody now' }).count(), 0);
  await shoot(page, 'path-gone');
  await page.getByRole('link', { name: 'Alerts' }).click();
  await page.getByRole('link', { name: /flooded; the water has gone since/ }).click();
  await page.getByRole('heading', { name: 'What to do' }).waitFor();
  const first = page.locator('ol.steps > li').first();
  assert.match(await first.textContent(), /^(Turn the diverter to sewer|Ask the household to stop)/);
  assert.doesNotMatch(await page.locator('main').textContent(), /nothing has to be done/i);
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-gone-alert');
});

test('the floods of a year are told with their people, and as a table', async () => {
  await page.goto(`${daemon.home}/alerts`);
  await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name: 'Floods' }).click();
  await page.getByRole('heading', { name: `Floods in ${new Date().getFullYear()}` }).waitFor();
  const flood = page.locator('.alert', { hasText: 'Alder Court, east terrace' });
  await flood.getByText(/Water stood from .* and stands: .* so far\./).waitFor();
  await flood.getByText(/Nobody took it on|Taken on by/).waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-floods');
  const table = await page.request.get(`${daemon.home}/floods.csv`);
  assert.match(await table.text(), /^system,name,property,subject,standing since,.*\r\nalder-court-east-terrace,/);
  await page.setViewportSize(SIZES[0][1]);
  await shoot(page, 'path-floods-phone');
  assert.equal(await page.evaluate(() => document.documentElement.scrollWidth > window.innerWidth), false);
  await page.setViewportSize(SIZES[2][1]);
});

test('a fault in a system file is told on every page, and mended in the form', async () => {
  const path = join(daemon.folder, 'systems/alder-court-east-terrace.toml');
  const before = await readFile(path, 'utf8');
  await page.goto(daemon.home);
  const banner = page.locator('#faulty');
  assert.equal(await banner.isVisible(), false);
  await writeFile(path, before.replace('soil = "', 'soil = "no-'));
  daemon.reload();
  // Without anybody loading the page again.
  await banner.getByText(/Alder Court, east terrace is watched by the plan from before/).waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-faulty');
  await banner.getByRole('link').click();
  await page.getByRole('heading', { name: 'Files that cannot be read' }).waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-faulty-list');
  await page.getByRole('link', { name: /^Mend it/ }).click();
  await page.getByText(/is no USDA texture class/).first().waitFor();
  const soil = page.getByLabel('Soil of the basins');
  await soil.selectOption(before.match(/soil = "([a-z-]+)"/)[1]);
  await page.getByText('Ready to save').waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-faulty-form');
  await page.getByRole('button', { name: 'Save', exact: true }).click();
  await page.waitForURL('**/systems/alder-court-east-terrace?saved=*');
  assert.equal(await readFile(path, 'utf8'), before);
  await page.goto(daemon.home);
  assert.equal(await banner.isVisible(), false);
});

test('a system is retired, and brought back as it was', async () => {
  const path = join(daemon.folder, 'systems/alder-court-east-terrace.toml');
  const before = await readFile(path, 'utf8');
  const onlooker = await openPage(browser, { storageState: await page.context().storageState() });
  await onlooker.goto(`${daemon.home}/systems/alder-court-east-terrace`);
  await page.goto(`${daemon.home}/setup/alder-court-east-terrace`);
  await page.getByRole('link', { name: 'Retire this system' }).click();
  await page.getByRole('heading', { name: 'What is kept' }).waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-retire');
  await page.getByRole('button', { name: 'Retire Alder Court, east terrace' }).click();
  await page.getByRole('heading', { name: 'Alder Court, east terrace is retired' }).waitFor();
  assert.deepEqual(await violations(page), []);
  await shoot(page, 'path-retired');
  // Who looks on must not take the last state for one that is watched.
  await onlooker.getByRole('heading', { name: 'This system is retired' }).waitFor();
  await onlooker.context().close();
  await page.getByRole('link', { name: 'All systems' }).click();
  assert.equal(await page.getByText('Alder Court, east terrace').count(), 0);
  await page.goto(`${daemon.home}/alerts?show=open`);
  assert.equal(await page.getByText(/flooded/).count(), 0);
  await page.goto(`${daemon.home}/setup`);
  await page.getByRole('link', { name: 'Alder Court, east terrace' }).click();
  await page.getByRole('button', { name: 'Bring Alder Court, east terrace back' }).click();
  await page.waitForURL('**/systems/alder-court-east-terrace');
  await page.getByRole('heading', { name: 'Alder Court, east terrace' }).first().waitFor();
  assert.equal(await readFile(path, 'utf8'), before);
});

test('a technician for one property is let in and sees only that', async () => {
  await page.goto(`${daemon.home}/people`);
  await page.getByLabel('Name', { exact: true }).fill('Sam');
  await page.locator('#new-role').selectOption('technician');
  const form = page.locator('form[action="/people"]');
  await form.getByLabel('only these:').check();
  await form.getByLabel('Alder court', { exact: false }).check();
  await page.getByLabel('First password').fill(PASSWORD);
  await page.getByRole('button', { name: 'Let in' }).click();
  await page.getByRole('heading', { name: 'Sam' }).waitFor();
  assert.deepEqual(await violations(page), []);
  const phone = await openPage(browser, { viewport: SIZES[0][1], colorScheme: 'dark' });
  await phone.goto(daemon.home);
  await phone.getByLabel('Name').fill('sam');
  await phone.getByLabel('Password').fill('not the password at all');
  await phone.getByRole('button', { name: 'Sign in' }).click();
  await phone.getByRole('alert').waitFor();
  assert.deepEqual(await violations(phone), []);
  await shoot(phone, 'path-sign-in');
  await phone.getByLabel('Password').fill(PASSWORD);
  await phone.getByRole('button', { name: 'Sign in' }).click();
  await phone.waitForURL(`${daemon.home}/`);
  assert.equal(await phone.getByRole('link', { name: 'People' }).count(), 0);
  assert.equal((await phone.goto(`${daemon.home}/setup`)).status(), 403);
  await phone.goto(`${daemon.home}/account`);
  await phone.getByRole('button', { name: 'Sign out' }).click();
  await phone.waitForURL('**/sign-in');
  await phone.context().close();
});

test('no page complained on the way', () => assert.deepEqual(page.complaints, []));
