// Every page that can be reached from Today by links: none fails, and each is fit to be used.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';

import { LAPTOP, PHONE, openBrowser, openPage } from './browser.mjs';
import { faults, layoutFaults } from './checks.mjs';
import { openShop } from './shop.mjs';

/// More addresses than the demo has: a page that links to ever new ones is a fault.
const MOST_ADDRESSES = 2000;
/// Pages of one shape (every lot's, every grade's, every lot's split …) are looked at this often, the first of each; all of them are opened.
const LOOKS_PER_SHAPE = 1;
/// So many addresses are asked for, and so many pages looked at, at once: the server works while the browser does.
const ASKED_AT_ONCE = 4;
const LOOKED_AT_AT_ONCE = 2;

let shop;
let browser;
let addresses;
before(async () => {
  [shop, browser] = await Promise.all([openShop(), openBrowser()]);
});
after(async () => {
  await browser?.close();
  await shop?.stop();
});

test('every link leads to a page', async () => {
  const failed = [];
  const from = new Map([['/', 'the start']]);
  const open = ['/'];
  addresses = [];
  while (open.length > 0) {
    for (const { address, answer, body } of await Promise.all(open.splice(0, ASKED_AT_ONCE).map(ask))) {
      if (answer.status >= 400) {
        failed.push(`${answer.status} at ${address}, which ${from.get(address)} leads to`);
        continue;
      }
      if (!answer.headers.get('content-type')?.startsWith('text/html')) continue;
      addresses.push(address);
      for (const [, link] of body.matchAll(/<a\s[^>]*?href="([^"]*)"/g)) {
        const url = new URL(link.replaceAll('&amp;', '&'), answer.url);
        const next = url.pathname + url.search;
        if (url.origin !== shop.address || from.has(next)) continue;
        from.set(next, address);
        open.push(next);
      }
    }
    assert.ok(from.size < MOST_ADDRESSES, 'the pages link to each other without end');
  }
  assert.deepEqual(failed, []);
  assert.ok(addresses.length >= 5, `only ${addresses.length} pages can be reached`);
});

test('every kind of page fits, reads aloud and has targets to hit', { concurrency: LOOKED_AT_AT_ONCE }, async (t) => {
  const tabs = await Promise.all(Array.from({ length: LOOKED_AT_AT_ONCE }, () => openPage(browser, shop.address)));
  const free = [...tabs];
  const look = async (address, schemes) => {
    const tab = free.pop();
    try {
      assert.deepEqual([...(await faultsAt(tab.page, address, schemes)), ...tab.troubles.splice(0)], []);
    } finally {
      free.push(tab);
    }
  };
  const schemes = ['light', 'dark'];
  const looks = worthALook(addresses).map((address, nth) => t.test(address, () => look(address, nth % 2 ? schemes : schemes.toReversed())));
  await Promise.all(looks);
  await Promise.all(tabs.map(({ close }) => close()));
});

test('every kind of page is there without scripts', async () => {
  const { page, troubles, close } = await openPage(browser, shop.address, { scripts: false });
  const found = [];
  for (const address of worthALook(addresses)) {
    await page.goto(address);
    found.push(...(await layoutFaults(page)));
  }
  await close();
  assert.deepEqual([...found, ...troubles], []);
});

async function ask(address) {
  const answer = await fetch(shop.address + address, { headers: { cookie: shop.cookie } });
  return { address, answer, body: await answer.text() };
}

/// What is wrong with a page on a phone in one scheme and on a laptop in the other, with all that is folded on it open.
async function faultsAt(page, address, [onPhone, onLaptop]) {
  const found = [];
  await page.setViewportSize(PHONE);
  await page.emulateMedia({ colorScheme: onPhone });
  await page.goto(address);
  await page.locator('main').evaluate((main) => main.querySelectorAll('details').forEach((details) => (details.open = true)));
  found.push(...(await faults(page)));
  await page.setViewportSize(LAPTOP);
  await page.emulateMedia({ colorScheme: onLaptop });
  found.push(...(await faults(page)));
  return found;
}

/// Some addresses of every shape, in the order they were found.
function worthALook(addresses) {
  const looks = new Map();
  return addresses.filter((address) => {
    const shape = address
      .replace(/[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}/g, '{id}')
      .replace(/^\/(grades|prices|bench)\/(?!new|recognise|compare|tonight)[^/?]+/, '/$1/{slug}')
      .replace(/=[^&]*/g, '={value}');
    looks.set(shape, (looks.get(shape) ?? 0) + 1);
    return looks.get(shape) <= LOOKS_PER_SHAPE;
  });
}
