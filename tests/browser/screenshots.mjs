// Draws the README's pictures from the demo: `node tests/browser/screenshots.mjs [folder]`, into `tour` here where no
// folder is named. Each picture has a palette of few colours, so that the tour stays light; that takes Debian's pngquant.

import { spawnSync } from 'node:child_process';
import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

import { LAPTOP, PHONE, openBrowser, openPage } from './browser.mjs';
import { openShop } from './shop.mjs';

const COLOURS = '64';

/// A message from a yard, with a line that no sheet had before.
const PASTED = 'No. 2 copper 3.62/lb\nBare bright 4.05\nYellow brass 2.30/lb\nheat sinks w/ fans 0.55/lb';

/// The name of the picture, where it is taken and how, and what is done before it.
const SHOTS = [
  { name: 'today', at: '/', size: PHONE },
  { name: 'today-dark', at: '/', size: PHONE, scheme: 'dark' },
  { name: 'weigh', at: '/weigh', size: PHONE, steps: [follow('Set-top boards'), fill('What the scale shows', '3 lb 7.5 oz'), press('Read it back')] },
  { name: 'asked', at: '/weigh', size: PHONE, steps: [follow('Set-top boards'), fill('What the scale shows', '2.5'), press('Read it back')] },
  { name: 'lots', at: '/lots', size: PHONE },
  { name: 'plan', at: '/plan', size: LAPTOP },
  { name: 'bag', at: '/', size: PHONE, steps: [follow('Bag 1: Set-top boards')] },
  { name: 'ladder', at: '/', size: PHONE, steps: [follow('Bag 1: Set-top boards'), open('From the sheet')] },
  { name: 'shipment', at: '/shipments', size: PHONE, steps: [follow('packed')] },
  { name: 'money', at: '/money', size: PHONE },
  { name: 'bench', at: '/bench/tower-computer', size: PHONE, steps: [reach('#answer')] },
  { name: 'run', at: '/plan/load-list', size: PHONE },
  { name: 'sheet', at: '/sheets/new', size: PHONE, steps: [choose('Whose prices', 'Millrace Metals'), fill('Or paste the prices', PASTED), press('Read it')] },
  { name: 'prices', at: '/prices', size: LAPTOP },
  { name: 'history', at: '/prices/copper-bright', size: PHONE },
  { name: 'recognise', at: '/grades/recognise', size: PHONE },
];

function follow(words) {
  return async (main) => {
    const link = main.getByRole('link', { name: words }).first();
    if (!(await link.isVisible())) {
      // It lies in a fold.
      await main.locator('details.fold', { hasText: words }).first().locator('summary').first().click();
    }
    await link.click();
  };
}

function open(words) {
  return async (main) => {
    const summary = main.locator('summary', { hasText: words }).first();
    await summary.click();
    await summary.evaluate((element) => element.scrollIntoView({ block: 'start' }));
  };
}

function reach(place) {
  return (main) => main.locator(place).evaluate((element) => element.scrollIntoView({ block: 'start' }));
}

function fill(label, text) {
  return (main) => main.getByLabel(label, { exact: true }).fill(text);
}

function choose(label, option) {
  return (main) => main.getByLabel(label, { exact: true }).selectOption({ label: option });
}

function press(words) {
  return (main) => main.getByRole('button', { name: words }).first().click();
}

/// The same picture with a palette.
function light(picture) {
  const { stdout, error, status, stderr } = spawnSync('pngquant', ['--strip', '--speed', '1', COLOURS, '-'], { input: picture, maxBuffer: 1 << 24 });
  if (error?.code === 'ENOENT') throw new Error('The pictures need pngquant. On Debian: apt-get install pngquant');
  if (error || status !== 0) throw error ?? new Error(`pngquant: ${stderr}`);
  return stdout;
}

const folder = process.argv[2] ?? fileURLToPath(new URL('tour', import.meta.url));
await mkdir(folder, { recursive: true });
const shop = await openShop();
const browser = await openBrowser();
try {
  for (const { name, at, size, scheme, steps = [] } of SHOTS) {
    const { page, troubles, close } = await openPage(browser, shop.address, { size, scheme, dots: size === PHONE ? 2 : 1 });
    await page.goto(at);
    // What is still worked out appears by itself.
    await page.waitForFunction(() => !document.querySelector('main').innerText.includes('being worked out'));
    for (const step of steps) await step(page.locator('main'));
    await page.waitForLoadState();
    const picture = join(folder, `${name}.png`);
    await writeFile(picture, light(await page.screenshot()));
    await close();
    if (troubles.length > 0) throw new Error(`${picture}: ${troubles.join('; ')}`);
    console.log(picture);
  }
} finally {
  await browser.close();
  await shop.stop();
}
