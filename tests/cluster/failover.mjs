// Kills the leader of the database under write load, in two ways, and a server, and says what that cost.

import { Record, agent, ask, newId, pause, serve, setUp, shelf, weighing } from '../endurance/shop.mjs';
import { Cluster } from './cluster.mjs';

const CLIENTS = 6;
const LOTS = 4;
/// Nothing may stay unsaved for longer than this, in milliseconds.
const LONGEST_GAP_MS = 30_000;
const BEFORE_MS = 3000;
const AFTER_MS = 5000;

const cluster = new Cluster();
const began = Date.now();
await cluster.open();
console.log(`a cluster of three Postgres and two servers, after ${seconds(Date.now() - began)} s`);
const record = new Record(cluster.address);
const servers = [];
for (const port of cluster.servers) servers.push(await serve(record, port, 'serve', ['--behind-proxy']));
const shop = { ...(await setUp(servers[0], LOTS)), origin: cluster.origin };
await pause(2500);

/// Everything that was answered with 200, and when the last of it was.
const acknowledged = new Map();
let last = Date.now();
let longest = 0;
let retries = 0;
const refusals = new Map();
let over = false;
const clients = Array.from({ length: CLIENTS }, weigh);

await shown('kill -9 of the leader’s Postgres', async () => {
  await cluster.killLeader({ withPatroni: false });
});
await shown('kill -9 of the leader’s Postgres and its Patroni, as if the machine were gone', async () => {
  const gone = await cluster.killLeader({ withPatroni: true });
  return () => cluster.bringBack(gone);
});
await shown('kill -9 of one of the two servers', async () => {
  await servers[0].kill();
  return async () => (servers[0] = await serve(record, cluster.servers[0], 'serve', ['--behind-proxy']));
});
over = true;
await Promise.all(clients);
await heardAcross();
const faults = record.check();
if (faults) throw new Error(`check says: ${faults}`);
await Promise.all(servers.map((server) => server.kill('SIGTERM')));
record.remove();
const answers = [...refusals].map(([how, count]) => `${how} ${count} times`).join(', ');
console.log(`${acknowledged.size} weighings acknowledged, all of them there once; ${retries} sent again (${answers}); check finds nothing wrong`);
process.exit(0);

/// Does it under load, waits until weighings go through again, and compares the record with what was acknowledged.
async function shown(what, deed) {
  await pause(BEFORE_MS);
  longest = 0;
  last = Date.now();
  const at = acknowledged.size;
  const undo = await deed();
  const killed = Date.now();
  const enough = () => acknowledged.size > at + 50 && Date.now() - killed > AFTER_MS;
  while (!enough()) {
    if (Date.now() - last > 2 * LONGEST_GAP_MS) throw new Error(`${what}: nothing goes through any more`);
    await pause(50);
  }
  if (longest > LONGEST_GAP_MS) throw new Error(`${what}: nothing could be saved for ${seconds(longest)} s`);
  await undo?.();
  await cluster.healthy();
  await compare(what);
  console.log(`${what}: nothing could be saved for ${seconds(longest)} s; nothing acknowledged is lost`);
}

async function weigh() {
  const line = agent(1);
  while (!over) {
    const entry = { id: newId(), lot: shop.lots[Math.floor(Math.random() * LOTS)], grams: 1 + Math.floor(Math.random() * 9) };
    for (;;) {
      const answer = await ask(shop.origin, 'POST', '/api/v1/weighings', { ...weighing(shop, entry), agent: line }).catch((error) => ({ status: error.code ?? error.message }));
      if (answer.status === 200) break;
      if (answer.status === 503 && !answer.headers['retry-after'] && answer.headers['content-type']?.includes('problem')) throw new Error('a 503 that says not when to try again');
      // A server answers 503 or 504 while the database is away, and HAProxy while no server answers; nothing else.
      if (typeof answer.status === 'number' && ![502, 503, 504].includes(answer.status)) {
        over = true;
        throw new Error(`${answer.status} ${answer.body}`);
      }
      refusals.set(answer.status, (refusals.get(answer.status) ?? 0) + 1);
      retries += 1;
      await pause(200);
    }
    const now = Date.now();
    longest = Math.max(longest, now - last);
    last = now;
    acknowledged.set(entry.id, entry);
  }
  line.destroy();
}

/// Under load the shelf moves on while it is read: what it holds lies between what was acknowledged before and after,
/// with what was under way.
async function compare(what) {
  const sum = () => [...acknowledged.values()].reduce((all, { grams }) => all + grams, 0);
  const before = sum();
  const held = [...(await shelf(shop)).values()].reduce((all, grams) => all + grams, 0);
  await pause(2000);
  const after = sum() + 9 * CLIENTS;
  if (held < before || held > after) throw new Error(`${what}: the shelf holds ${held} g; acknowledged were ${before} g before it was read, and at most ${after} g after`);
}

/// What is put on through one server is told to the pages of the other, also after all that; and in the end, at rest, each
/// lot holds exactly what was acknowledged on it.
async function heardAcross() {
  const stop = new AbortController();
  const listening = ask(servers[0].origin, 'GET', '/live', { headers: { cookie: shop.cookie }, signal: stop.signal, heard: () => stop.abort() });
  await pause(1000);
  const entry = { id: newId(), lot: shop.lots[0], grams: 1 };
  const answer = await ask(servers[1].origin, 'POST', '/api/v1/weighings', weighing(shop, entry));
  if (answer.status !== 200) throw new Error(`the other server: ${answer.status} ${answer.body}`);
  acknowledged.set(entry.id, entry);
  const heard = await Promise.race([listening.catch(() => true), pause(5000).then(() => false)]);
  if (!heard) throw new Error('a page of the other server does not hear of it');
  const held = await shelf(shop);
  for (const lot of shop.lots) {
    const due = [...acknowledged.values()].filter((entry) => entry.lot === lot).reduce((all, { grams }) => all + grams, 0);
    if (held.get(lot) !== due) throw new Error(`lot ${lot} holds ${held.get(lot)} g, acknowledged were ${due} g`);
  }
}

function seconds(ms) {
  return (ms / 1000).toFixed(1);
}
