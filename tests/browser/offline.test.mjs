// The shop's box is off while a partner weighs: nothing typed is lost, and everything is stored once when it is back.

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

async function firstLot(page) {
  await page.goto('/weigh');
  const link = await page.locator('a[href$="/weigh"].ticket').first().getAttribute('href');
  return link.replace(/\/weigh$/, '');
}

const entry = (page, words) => page.locator('#entries > li').filter({ hasText: words });

test('weighings made while the box is off are sent once when it is back', async () => {
  const { page, close } = await openPage(browser, shop.address);
  const lot = await firstLot(page);
  // Once on the wifi, as on any day: from then on the phone has the pad.
  await page.goto('/pad');
  await page.locator('#lot option').nth(1).waitFor({ state: 'attached' });
  assert.deepEqual(await faults(page), []);
  await page.goto(`${lot}/weigh`);
  const label = (await page.locator('h1').innerText()).split(':')[0];
  await page.waitForFunction(() => performance.getEntriesByType('resource').some(({ name }) => name.endsWith('/api/v1/me')));

  await shop.switchOff();
  await page.getByLabel('What the scale shows').fill('3 lb 7 oz');
  await page.getByRole('button', { name: 'Read it back' }).click();
  await page.getByText('is kept on this phone').waitFor();
  await page.locator('#waiting a', { hasText: '1 weighing waits on this phone' }).waitFor();

  // The browser is closed and opened again: the pad comes from the phone itself.
  const again = await page.context().newPage();
  await page.close();
  await again.goto('/pad');
  await entry(again, '3 lb 7 oz').getByText('waits').waitFor();
  await again.getByText('These are the bags of').waitFor();
  for (const reading of ['2.05', '3 lb 40 oz', '1.5 lb']) {
    await again.getByLabel('Bag').selectOption({ index: 1 });
    await again.getByLabel('What the scale shows').fill(reading);
    await again.getByRole('button', { name: 'Keep it' }).click();
    await entry(again, reading).getByText('waits').waitFor();
  }
  assert.deepEqual(await faults(again), []);

  await shop.switchOn();
  await again.reload();
  await entry(again, '3 lb 7 oz').getByText('on the bag', { exact: true }).waitFor();
  // What is unsure is asked about, and what cannot be stays with the reason.
  await entry(again, '2.05').getByText('look at this').waitFor();
  await entry(again, '3 lb 40 oz').getByText('refused', { exact: true }).waitFor();
  assert.ok((await entry(again, '3 lb 40 oz').innerText()).length > 60, 'the reason stands there');
  const meaning = entry(again, '1.5 lb').getByRole('button').first();
  await meaning.click();
  await entry(again, '1.5 lb').getByText('on the bag', { exact: true }).waitFor();
  assert.deepEqual(await faults(again), []);

  // Stored once, however often it was sent.
  const weighed = async () => {
    await again.goto(lot);
    return (await again.locator('.typed', { hasText: /^3 lb 7 oz$/ }).count());
  };
  assert.equal(await weighed(), 1);
  await again.goto('/pad');
  await entry(again, '3 lb 7 oz').getByRole('button', { name: 'Done' }).click();
  await entry(again, '3 lb 7 oz').waitFor({ state: 'detached' });
  assert.equal(await weighed(), 1);
  assert.ok(label.length > 0);
  await close();
});

test('a photo taken while the box is off is kept and sent when it is back', async () => {
  const { page, close } = await openPage(browser, shop.address);
  const lot = await firstLot(page);
  await page.goto('/pad');
  await page.goto(lot);
  await page.waitForFunction(() => performance.getEntriesByType('resource').some(({ name }) => name.endsWith('/api/v1/me')));
  const before = await page.locator('#photos .album li').count();
  // A picture of the page itself is as good as one of the bag.
  const buffer = await page.screenshot({ type: 'jpeg' });

  await shop.switchOff();
  await page.getByLabel('Add a photo').setInputFiles({ name: 'bag.jpg', mimeType: 'image/jpeg', buffer });
  await page.getByRole('button', { name: 'Send the photo' }).click();
  await page.getByText('The photo is kept on this phone').waitFor();
  assert.equal(await page.getByLabel('Add a photo').inputValue(), '', 'the next one can be taken');
  await page.locator('#waiting a', { hasText: '1 entry waits on this phone' }).waitFor();
  assert.deepEqual(await faults(page), []);

  const again = await page.context().newPage();
  await page.close();
  await again.goto('/pad');
  await entry(again, 'photo, 0.1 MB').getByText('waits').waitFor();

  await shop.switchOn();
  await again.reload();
  const photo = entry(again, 'It is with its page’s photos');
  await photo.waitFor();
  assert.deepEqual(await faults(again), []);
  await photo.getByRole('button', { name: 'Done' }).click();
  await photo.waitFor({ state: 'detached' });
  await again.goto(lot);
  assert.equal(await again.locator('#photos .album li').count(), before + 1);
  await close();
});

test('a photo that the phone has no room for stays in its form, and the page says so', async () => {
  const { page, close } = await openPage(browser, shop.address);
  await page.goto(await firstLot(page));
  const buffer = await page.screenshot({ type: 'jpeg' });
  await page.evaluate(() => {
    IDBObjectStore.prototype.put = () => {
      throw new DOMException('full', 'QuotaExceededError');
    };
  });
  await shop.switchOff();
  await page.getByLabel('Add a photo').setInputFiles({ name: 'bag.jpg', mimeType: 'image/jpeg', buffer });
  await page.getByRole('button', { name: 'Send the photo' }).click();
  await page.getByText('This phone could not keep it (QuotaExceededError)').waitFor();
  assert.equal(await page.getByText('The photo is kept on this phone').isVisible(), false);
  assert.match(await page.getByLabel('Add a photo').inputValue(), /bag.jpg$/);
  assert.deepEqual(await faults(page), []);
  await shop.switchOn();
  await close();
});

test('a phone may put the shop on its home screen', async () => {
  const { page, troubles, close } = await openPage(browser, shop.address);
  await page.goto('/weigh');
  const manifest = await page.evaluate(async () => (await fetch(document.querySelector('link[rel=manifest]').href)).json());
  assert.equal(manifest.display, 'standalone');
  for (const icon of manifest.icons) {
    const answer = await page.request.get(icon.src);
    assert.equal(answer.headers()['content-type'], 'image/png');
  }
  assert.deepEqual(troubles, []);
  await close();
});
