// Draws the README's pictures from the demo: `node screenshots.mjs [folder]`, into `out` here where no folder is named.

import { mkdir } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

import { LAPTOP, PHONE, openBrowser, openPage } from './browser.mjs';
import { openShop } from './shop.mjs';
import { isUnbuilt } from './unbuilt.mjs';

/// The name of the picture, where it is taken, how, and the links to follow from there: the first of its kind each.
const SHOTS = [
  { name: 'today', at: '/', size: PHONE },
  { name: 'today-dark', at: '/', size: PHONE, scheme: 'dark' },
  { name: 'weigh', at: '/weigh', size: PHONE },
  { name: 'weigh-reading', at: '/weigh', follow: ['a[href$="/weigh"].ticket'], size: PHONE },
  { name: 'lots', at: '/lots', size: LAPTOP },
  { name: 'lot', at: '/lots', follow: ['.tickets a[href^="/lots/"]'], size: PHONE },
  { name: 'label', at: '/containers', follow: ['a[href$="/label"]'], size: PHONE },
  { name: 'grades', at: '/grades', size: LAPTOP },
  { name: 'outlets', at: '/outlets', size: LAPTOP },
  { name: 'prices', at: '/prices', size: LAPTOP },
  { name: 'plan', at: '/plan', size: LAPTOP },
  { name: 'plan-phone', at: '/plan', size: PHONE },
  { name: 'shipments', at: '/shipments', size: PHONE },
];

const folder = process.argv[2] ?? fileURLToPath(new URL('out', import.meta.url));
await mkdir(folder, { recursive: true });
const shop = await openShop();
const browser = await openBrowser();
try {
  for (const { name, at, follow = [], size, scheme } of SHOTS.filter((shot) => !isUnbuilt(shot.at))) {
    const { page, troubles, close } = await openPage(browser, shop.address, { size, scheme });
    await page.goto(at);
    for (const link of follow) await page.locator(link).first().click();
    const picture = join(folder, `${name}.png`);
    await page.screenshot({ path: picture });
    await close();
    if (troubles.length > 0) throw new Error(`${picture}: ${troubles.join('; ')}`);
    console.log(picture);
  }
} finally {
  await browser.close();
  await shop.stop();
}
