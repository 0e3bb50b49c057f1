// Thousands of connections that say nothing, or nothing that means anything, from another address: those that stay open are
// bounded, and a phone is served while they are there and when they are gone.

import { connect } from 'node:net';

import { Record, ask, lines, memory, pause, quantile, serve, setUp } from './shop.mjs';

/// All of 127.0.0.0/8 is this machine: junk comes from another address than the phone's.
const JUNK_FROM = '127.0.0.2';
const AT_ONCE = 500;
/// As in server/cli/connections.rs.
const MOST_FROM_ONE = 128;
/// By when the server has seen that the others are gone, in milliseconds: the longest of the times in
/// server/cli/connections.rs. Nearly all are seen at once; one whose last word was lost is let go when its time is over.
const GONE_MS = 75_000;
/// What a page may take meanwhile, in milliseconds, for half of those asked for and for the slowest.
const USUAL_MS = 250;
const SLOWEST_MS = 5000;

export async function junkRounds({ name, rounds, port }) {
  const record = new Record();
  const server = await serve(record, port);
  const shop = await setUp(server, 1);
  await page(shop);
  const before = memory(server.child.pid);
  const open = new Set();
  let opened = 0;
  const opening = async () => {
    while (opened < rounds) {
      opened += 1;
      await junk(opened);
    }
  };
  const flood = Promise.all(Array.from({ length: AT_ONCE }, opening));
  const took = [];
  let over = false;
  flood.then(() => (over = true));
  while (!over || took.length < 20) took.push(await page(shop));
  await pause(500);
  const held = lines(port, JUNK_FROM).length;
  const during = memory(server.child.pid);
  const most = open.size;
  took.push(await page(shop));
  open.forEach((socket) => socket.destroy());
  const closed = performance.now();
  const after = await page(shop);
  if (held > MOST_FROM_ONE) throw new Error(`${name}: ${held} junk connections are held, ${MOST_FROM_ONE} are the most`);
  if (held === 0) throw new Error(`${name}: no junk connection is held: this run says nothing`);
  if (quantile(took, 0.5) > USUAL_MS || Math.max(...took) > SLOWEST_MS || after > SLOWEST_MS) {
    throw new Error(`${name}: pages took ${took.map(Math.round)} ms meanwhile and ${after} ms afterwards`);
  }
  for (let left = lines(port, JUNK_FROM); left.length > 0; left = lines(port, JUNK_FROM)) {
    if (performance.now() - closed > GONE_MS) throw new Error(`${name}: connections are still open when all are gone:\n${left.join('\n')}`);
    await pause(50);
  }
  const gone = performance.now() - closed;
  await server.kill('SIGTERM');
  record.remove();
  return {
    connections: rounds,
    held,
    open_at_the_sender: most,
    page_median_ms: Math.round(quantile(took, 0.5)),
    page_slowest_ms: Math.round(Math.max(...took)),
    page_afterwards_ms: Math.round(after),
    all_gone_ms: Math.round(gone),
    memory_before_mb: before.toFixed(1),
    memory_during_mb: during.toFixed(1),
  };

  /// Opens one, which stays open as long as the server lets it.
  function junk(nth) {
    return new Promise((done) => {
      const socket = connect({ port, host: '127.0.0.1', localAddress: JUNK_FROM });
      open.add(socket);
      const settled = () => {
        open.delete(socket);
        done();
      };
      socket.on('error', settled);
      socket.on('close', settled);
      socket.on('connect', () => {
        const says = ['', 'GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n', '\x16\x03\x01\x02\x00\x01\x00', 'PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n'][nth % 4];
        if (says) socket.write(says);
        // Those that are let in stay; the next one comes.
        setTimeout(done, 20);
      });
    });
  }
}

async function page(shop) {
  const began = performance.now();
  const answer = await ask(shop.origin, 'GET', '/lots', { headers: { cookie: shop.cookie } });
  if (answer.status !== 200) throw new Error(`/lots: ${answer.status}`);
  return performance.now() - began;
}
