// The bench in a real browser: the slider answers while it moves, and a unit is taken apart while the shop's box is off.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';

import { openBrowser, openPage } from './browser.mjs';
import { faults } from './checks.mjs';
import { openShop } from './shop.mjs';

let shop;
let browser;
before(async () => {
  [shop, browser] = await Promise.all([openShop(), openBrowser()]);
});
after(async () => {
  await browser?.close();
  await shop?.stop();
});

test('the slider answers while it moves, and its form without a script', async () => {
  const { page, close } = await openPage(browser, shop.address);
  await page.goto('/bench/tower-computer');
  await page.locator('#answer .figure.huge', { hasText: 'Open it' }).waitFor();
  const earned = await page.locator('#answer dl').innerText();
  await page.evaluate(() => {
    window.isTheSamePage = true;
    const slide = document.querySelector('#slide');
    slide.value = 60;
    slide.dispatchEvent(new Event('input', { bubbles: true }));
  });
  await page.waitForFunction((before) => document.querySelector('#answer dl').innerText !== before, earned);
  assert.equal(await page.locator('#rate').inputValue(), '60');
  assert.ok(await page.evaluate(() => window.isTheSamePage));
  assert.deepEqual(await faults(page), []);
  await close();

  const plain = await openPage(browser, shop.address, { scripts: false });
  await plain.page.goto('/bench/tower-computer');
  assert.ok(!(await plain.page.locator('#slide').isVisible()));
  await plain.page.locator('#rate').fill('900');
  await plain.page.getByRole('button', { name: 'Work it out' }).click();
  // At such a wage nothing is worth a minute.
  await plain.page.locator('#answer .figure', { hasText: 'in 0\u00a0min' }).or(plain.page.locator('#answer .figure', { hasText: 'in 0 min' })).first().waitFor();
  await plain.close();
});

test('parts, weights and times entered while the box is off are sent once when it is back', async () => {
  const { page, close } = await openPage(browser, shop.address);
  await page.goto('/bench/tower-computer');
  await page.getByLabel('I have read what stands above').check();
  await page.getByRole('button', { name: 'Begin' }).click();
  await page.waitForURL('**/teardowns/*');
  const teardown = page.url();
  await page.waitForFunction(() => performance.getEntriesByType('resource').some(({ name }) => name.endsWith('/api/v1/me')));

  await shop.switchOff();
  await page.getByRole('button', { name: 'Start the timer' }).click();
  await page.locator('#timer .kept').waitFor();
  await page.getByLabel('The whole unit on the scale').fill('21 lb 2 oz');
  await page.locator('#whole button', { hasText: 'Keep' }).click();
  await page.locator('#whole .kept').waitFor();
  const board = page.locator('#part-main-board');
  await board.locator('summary').click();
  await board.getByLabel('Bag').selectOption({ index: 0 });
  await board.getByLabel('What the scale shows').fill('1 lb 6 oz');
  await board.getByRole('button', { name: 'Weigh it in' }).click();
  await board.locator('.kept').waitFor();
  await page.locator('#waiting a', { hasText: '3 entries wait on this phone' }).waitFor();

  await shop.switchOn();
  // The pad tells each entry that was sent; a page tells nothing before it has counted what waits.
  await page.goto('/pad');
  for (const typed of ['timer: start', '21 lb 2 oz', '1 lb 6 oz']) {
    const entry = page.locator('#entries > li').filter({ hasText: typed });
    await entry.getByText('stored', { exact: true }).or(entry.getByText('on the bag', { exact: true })).waitFor();
  }
  assert.ok(await page.locator('#waiting').isHidden());
  await page.goto(teardown);
  await page.getByRole('button', { name: 'Stop the timer' }).waitFor();
  assert.match(await page.locator('#whole').innerText(), /21\slb\s2\.0\soz/);
  assert.match(await page.locator('#part-main-board summary').innerText(), /✓\s1\slb\s6\.0\soz/);
  assert.deepEqual(await faults(page), []);
  await close();
});
