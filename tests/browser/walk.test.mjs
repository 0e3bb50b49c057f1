// The main job in a real browser, from an empty record to a bag in the mail, as a partner does it: on a phone and on a
// laptop, in light and dark, with scripts and without, each of these with each of the others once.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';

import { LAPTOP, PHONE, openBrowser } from './browser.mjs';
import { openPartner } from './partner.mjs';
import { openShop } from './shop.mjs';

let browser;
before(async () => {
  browser = await openBrowser();
});
after(() => browser?.close());

const WAYS = [
  { size: PHONE, scheme: 'light', scripts: true },
  { size: LAPTOP, scheme: 'dark', scripts: true },
  { size: PHONE, scheme: 'dark', scripts: false },
  { size: LAPTOP, scheme: 'light', scripts: false },
];
for (const way of WAYS) {
  const name = `${way.size.name}, ${way.scheme}, ${way.scripts ? 'with' : 'without'} scripts`;
  test(`from an empty record to a bag in the mail (${name})`, { timeout: 180_000 }, async () => {
    const shop = await openShop('serve');
    try {
      const partner = await openPartner(browser, shop.address, way);
      await setUp(partner, shop.wayIn);
      await weighIn(partner);
      await split(partner);
      await addFreight(partner);
      await addOutlets(partner);
      await readSheets(partner);
      await plan(partner);
      await ship(partner);
      await partner.close();
      assert.deepEqual(partner.wrongs(), []);
    } finally {
      await shop.stop();
    }
  });
}

async function setUp(partner, wayIn) {
  await partner.go(wayIn);
  assert.equal(await partner.heading(), 'Set the shop up');
  await partner.look();
  await partner.fill('Your name', 'Imke');
  await partner.fill('Choose a passphrase', 'copper kettle on thursday');
  await partner.fill('The same once more', 'copper kettle on thursday');
  await partner.fill('Name of the shop', 'Heron Street Salvage');
  await partner.fill('Time zone', 'America/Detroit');
  await partner.fill('Home currency', 'USD');
  await partner.fill('An hour of work costs', '18');
  await partner.fill('Driving costs', '0.40');
  await partner.fill('A year of waiting for money costs, in %', '10');
  await partner.fill('A year on the shelf costs beyond that, in %', '8');
  await partner.press('Open the shop');
  await partner.open('Today');
  await partner.look();
}

async function weighIn(partner) {
  await partner.open('Weigh in');
  await partner.look();
  await partner.follow('New bag or grade');
  await partner.choose('Grade', 'board-set-top');
  await partner.fill('Empty weight (tare)', '2.5');
  await partner.press('Open it and weigh in');
  assert.match(await partner.text('[role=alert]'), /everything you typed is still here/);
  await partner.look();
  await partner.fill('Label on it', 'Bag 1');
  await partner.fill('Empty weight (tare)', '2.5 oz');
  await partner.press('Open it and weigh in');
  await partner.look();

  await partner.fill('What the scale shows', '2.5');
  await partner.press('Read it back');
  assert.match(await partner.text('[role=alert]'), /no unit/);
  await partner.look();
  await partner.press('2 lb 5 oz');
  assert.equal(await partner.figure(), '2 lb 5.0 oz');
  await partner.look();
  await partner.press('Put it on Bag 1');
  assert.equal(await partner.figure(), '2 lb 5.0 oz');
  await partner.look();
  await partner.press('Undo this weighing');
  assert.equal(await partner.figure(), '0.0 oz');
  await partner.look();

  await partner.follow('Weigh more on it');
  await partner.fill('What the scale shows', '40 lb 17 oz');
  await partner.press('Read it back');
  assert.match(await partner.text('#reading-problem'), /Was it 41 lb 1 oz\?/);
  await partner.look();
  await partner.fill('What the scale shows', '41 lb 2.5 oz');
  await partner.pick('The whole bag');
  await partner.press('Read it back');
  await partner.press('Put it on Bag 1');
  assert.equal(await partner.figure(), '41 lb 0.0 oz');
}

async function split(partner) {
  await partner.follow('The lot');
  await partner.look();
  await partner.follow('Split');
  await partner.look();
  await partner.fill('How much moves', '1 lb');
  await partner.fill('Label on it', 'Bag 2');
  await partner.press('Split it off');
  assert.match(await partner.text('.figure.huge'), /^1 lb 0\.0 oz/);
  await partner.follow('the other lot');
  assert.match(await partner.text('.figure.huge'), /^40 lb 0\.0 oz/);
  await partner.follow('Label');
  assert.ok(await partner.page.getByRole('img', { name: 'Code that opens Bag 1 on a phone' }).isVisible());
  await partner.look();
}

async function addFreight(partner) {
  await partner.open('Freight and boxes');
  await partner.look();
  await partner.follow('New service');
  await partner.fill('Name', 'Lakes Parcel');
  await partner.fill('Currency it charges in', 'USD');
  await partner.fill('Divisor', '139');
  await partner.fill('Weight goes up to the next', '1 lb');
  await partner.fill('Weights and charges', '10 lb, 9.00\n50 lb, 21.50\n70 lb, 30.00');
  await partner.look();
  await partner.press('Save');
  await partner.look();
  await partner.open('Freight and boxes');
  await partner.follow('New box');
  await partner.fill('Name', 'Medium box');
  await partner.fill('Size inside', '24 x 18 x 18 in');
  await partner.fill('Thickness of the wall', '0.2 in');
  await partner.fill('Empty weight', '1 lb');
  await partner.fill('Most it may hold', '60 lb');
  await partner.look();
  await partner.press('Save');
}

async function addOutlets(partner) {
  await partner.open('Outlets');
  await partner.follow('New yard');
  await partner.fill('Name', 'Quay Metals');
  await partner.fill('Currency it quotes and pays in', 'USD');
  await partner.fill('Distance, one way', '10 km');
  await partner.fill('The whole trip, in minutes', '30');
  await partner.look();
  await partner.press('Save');
  await partner.look();
  await partner.open('Outlets');
  await partner.follow('New mail-in buyer');
  await partner.fill('Name', 'Board House');
  await partner.fill('Currency it quotes and pays in', 'USD');
  await partner.fill('Packing one parcel, in minutes', '10');
  await partner.choose('Lakes Parcel', { index: 1 });
  await partner.look();
  await partner.press('Save');
  await partner.look();
  await partner.open('Outlets');
  await partner.look();
}

async function readSheets(partner) {
  for (const [outlet, lines] of [
    ['Quay Metals', 'No. 2 copper 3.60/lb\nSet-top boards 0.40/lb'],
    ['Board House', 'Set-top boards 2.00/lb\nfrobnicated widgets 9.00/lb'],
  ]) {
    await partner.open('Prices');
    await partner.follow('Upload a sheet');
    await partner.choose('Whose prices', { label: outlet });
    await partner.fill('Or paste the prices', lines);
    await partner.look();
    await partner.press('Read it');
    assert.equal(await partner.heading(), `Review: ${outlet}`);
    await partner.look();
    for (const words of ['Leave out all', 'All prices on this page are right', 'Keep these answers']) {
      const button = partner.page.getByRole('button', { name: words });
      if ((await button.count()) > 0 && !(await isReady(partner))) await partner.press(words);
    }
    await partner.press('matched are right: save the sheet');
    await partner.look();
  }
  await partner.open('Prices');
  assert.match(await partner.text('main'), /Set-top boards/);
  await partner.look();
}

async function isReady(partner) {
  return (await partner.page.getByRole('button', { name: 'matched are right: save the sheet' }).count()) > 0;
}

async function plan(partner) {
  await partner.open('Sell plan');
  assert.match(await partner.text('main'), /proved best/);
  assert.match(await partner.text('main'), /Board House/);
  await partner.look();
  // 41 lb at 2.00 are 82.00. The box is 24.4 × 18.4 × 18.4 in outside: its size alone, by 139, bills 60 lb or more, so
  // 30.00 of freight; ten minutes of packing at 18.00 an hour are 3.00.
  assert.equal(await partner.figure(), '49.00 USD');
  await partner.open('Today');
  await partner.look();
}

async function ship(partner) {
  await partner.open('Sell plan');
  await partner.follow('Look at shipping');
  await partner.look();
  await partner.press('Make the shipment');
  assert.equal(await partner.heading(), 'Shipment to Board House');
  await partner.look();
  await partner.press('It has been handed over');
  assert.match(await partner.text('main'), /sent/);
  await partner.open('Lots');
  assert.match(await partner.text('main'), /Nothing is on the shelf/);
  await partner.open('Shipments');
  assert.match(await partner.text('main'), /Board House/);
  await partner.look();
}
