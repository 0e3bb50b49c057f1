// Fifty phones at once in a furnished shop: pages are read and weighings put on. Errors, how long answers take, and whether
// the program's memory stays where it is.

import { loadavg } from 'node:os';

import { Record, agent, ask, memory, newId, openDemo, pause, quantile, weighing } from './shop.mjs';

const PHONES = 50;
/// How long a partner looks at a page before the next tap, at most, in milliseconds.
const LONGEST_LOOK_MS = 2000;
/// What 99 in 100 answers take at most, in milliseconds.
const P99_MS = 250;
/// Memory may grow by this much from the first tenth of the time to its end, in megabytes.
const GROWTH_MB = 15;
/// What is done, and how often in a hundred times.
const MIX = [
  ['today', 20],
  ['lots', 25],
  ['lot', 20],
  ['plan', 10],
  ['weighing', 25],
];

/// `rounds` is how many seconds it lasts. `short` runs are of builds that nobody would put into a shop.
export async function phoneRounds({ name, rounds, port, database, short }) {
  const record = new Record(database);
  const { server, shop } = await openDemo(record, port);
  // A shop that is open since this morning: the first plan of all is made when nobody waits for it.
  const opened = performance.now();
  while ((await read('/')).body.includes('being worked out')) await pause(500);
  const first = performance.now() - opened;
  const took = new Map(MIX.map(([what]) => [what, []]));
  const ends = performance.now() + rounds * 1000;
  const cpu = process.cpuUsage();
  const sizes = [];
  const phones = Array.from({ length: PHONES }, usePhone);
  const watching = (async () => {
    while (performance.now() < ends) {
      await pause(Math.min(1000, rounds * 100));
      sizes.push(memory(server.child.pid));
    }
  })();
  await Promise.all([...phones, watching]);
  const spent = process.cpuUsage(cpu);
  const early = sizes[Math.floor(sizes.length / 10)];
  const late = sizes.at(-1);
  await server.kill('SIGTERM');
  record.remove();
  const all = [...took.values()].flat();
  const figures = Object.fromEntries([...took].map(([what, times]) => [`${what}_ms`, spread(times)]));
  const tenths = Array.from({ length: 10 }, (_, nth) => sizes[Math.ceil((sizes.length * (nth + 1)) / 10) - 1].toFixed(0));
  const found = {
    seconds: rounds,
    first_page_of_all_ms: Math.round(first),
    requests: all.length,
    per_second: Math.round(all.length / rounds),
    all_ms: spread(all),
    ...figures,
    memory_mb: `${tenths.join(' ')} at each tenth of the time, ${Math.max(...sizes).toFixed(0)} at most`,
    load_of_the_machine: loadavg()[0].toFixed(1),
    share_of_a_core_for_the_phones: ((spent.user + spent.system) / 1e6 / rounds).toFixed(2),
  };
  if (!short && quantile(all, 0.99) > P99_MS) throw new Error(`${name}: too slow: ${JSON.stringify(found)}`);
  if (!short && late - early > GROWTH_MB) throw new Error(`${name}: memory grows: ${JSON.stringify(found)}`);
  return found;

  async function usePhone() {
    const line = agent(6);
    await pause(Math.random() * LONGEST_LOOK_MS);
    while (performance.now() < ends) {
      const what = drawn();
      const began = performance.now();
      const lot = shop.lots[Math.floor(Math.random() * shop.lots.length)];
      const answer = await (what === 'weighing' ? weigh(lot, line) : read(pathOf(what, lot), line));
      took.get(what).push(performance.now() - began);
      if (answer.status !== 200) throw new Error(`${name}: ${what}: ${answer.status} ${answer.body.toString('latin1').slice(0, 500)}`);
      await pause(Math.random() * LONGEST_LOOK_MS);
    }
    line.destroy();
  }

  function read(path, line) {
    return ask(shop.origin, 'GET', path, { headers: { cookie: shop.cookie, ...(line && { 'accept-encoding': 'gzip' }) }, agent: line });
  }

  function weigh(lot, line) {
    const entry = { id: newId(), lot, grams: 1 + Math.floor(Math.random() * 9) };
    return ask(shop.origin, 'POST', '/api/v1/weighings', { ...weighing(shop, entry), agent: line });
  }
}

function pathOf(what, lot) {
  return { today: '/', lots: '/lots', lot: `/lots/${lot}`, plan: '/plan' }[what];
}

function drawn() {
  let at = Math.random() * MIX.reduce((sum, [, weight]) => sum + weight, 0);
  return MIX.find(([, weight]) => (at -= weight) < 0)[0];
}

const spread = (times) => [0.5, 0.99, 1].map((share) => Math.round(quantile(times, share))).join('/');
