// The main job in a real browser, as a partner does it: on a phone and on a laptop, in light and dark, with scripts and
// without.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';

import { LAPTOP, PHONE, openBrowser, openPage } from './browser.mjs';
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

for (const size of [PHONE, LAPTOP]) {
  for (const scheme of ['light', 'dark']) {
    for (const scripts of [true, false]) {
      const name = `${size.name}, ${scheme}, ${scripts ? 'with' : 'without'} scripts`;
      test(`a bag is opened, weighed, undone, split and labelled (${name})`, { timeout: 90_000 }, async () => {
        const { page, troubles, close } = await openPage(browser, shop.address, { size, scheme, scripts });
        const found = [];
        const look = async () => found.push(...(await faults(page, { scripts })));
        const press = (words) => page.getByRole('button', { name: words }).click();
        const follow = (words) => page.getByRole('main').getByRole('link', { name: words }).first().click();
        const figure = () => page.locator('.figure').first().innerText();
        const bag = `Walk ${size.name} ${scheme[0]}${scripts ? 's' : ''}`;

        await page.goto('/');
        await look();
        await page.getByRole('navigation').getByRole('link', { name: 'Weigh in', exact: true }).click();
        await look();
        await follow('New bag or grade');
        await page.getByLabel('Grade', { exact: true }).selectOption('board-set-top');
        await page.getByLabel('Empty weight (tare)').fill('2.5');
        await press('Open it and weigh in');
        assert.match(await page.getByRole('alert').innerText(), /everything you typed is still here/);
        await look();
        await page.getByLabel('Label on it').fill(bag);
        await page.getByLabel('Empty weight (tare)').fill('2.5 oz');
        await press('Open it and weigh in');
        await look();

        await page.getByLabel('What the scale shows').fill('2.5');
        await press('Read it back');
        assert.match(await page.getByRole('alert').innerText(), /no unit/);
        await look();
        await press('2 lb 5 oz');
        assert.equal(await figure(), '2 lb 5.0 oz');
        await look();
        await press(`Put it on ${bag}`);
        assert.equal(await figure(), '2 lb 5.0 oz');
        await look();
        await press('Undo this weighing');
        assert.equal(await figure(), '0.0 oz');
        await look();

        await follow('Weigh more on it');
        await page.getByLabel('What the scale shows').fill('3 lb 17 oz');
        await press('Read it back');
        assert.match(await page.locator('#reading-problem').innerText(), /Was it 4 lb 1 oz\?/);
        await look();
        await page.getByLabel('What the scale shows').fill('3 lb 7.5 oz');
        await page.getByLabel('The whole bag').check();
        await press('Read it back');
        await press(`Put it on ${bag}`);
        assert.equal(await figure(), '3 lb 5.0 oz');

        await follow('The lot');
        await look();
        await follow('Split');
        await page.getByLabel('How much moves').fill('1 lb');
        await page.getByLabel('Label on it').fill(`${bag}+`);
        await press('Split it off');
        assert.equal(await figure(), '1 lb 0.0 oz');
        await follow('the other lot');
        assert.equal(await figure(), '2 lb 5.0 oz');
        await follow('Label');
        assert.ok(await page.getByRole('img', { name: `Code that opens ${bag} on a phone` }).isVisible());
        await look();

        await close();
        assert.deepEqual([...found, ...troubles], []);
      });
    }
  }
}
