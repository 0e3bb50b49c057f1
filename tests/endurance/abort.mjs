// Phones that vanish in the middle of a save: somewhere in the request, or while the answer is awaited. No connection of the
// database is left in a transaction, nothing is half saved, and the next request is served as if nothing had been.

import { connect } from 'node:net';

import { Record, agent, ask, newId, pause, serve, setUp, shelf, weighing } from './shop.mjs';

const AT_ONCE = 50;
const LOTS = 4;
/// How long an answer is awaited at most before the phone vanishes, in milliseconds; most wait far shorter.
const LONGEST_WAIT_MS = 300;
/// What the next request may take on a machine that others use too, in milliseconds.
const SOON_MS = 2000;

export async function abortRounds({ name, rounds, port, database, psql }) {
  const record = new Record(database);
  const server = await serve(record, port);
  const shop = await setUp(server, LOTS);
  const entries = [];
  const ends = { in_the_head: 0, in_the_body: 0, awaiting: 0, answered: 0 };

  const vanishing = async () => {
    while (entries.length < rounds) {
      const entry = { id: newId(), lot: shop.lots[entries.length % LOTS], grams: 1 + (entries.length % 9) };
      entries.push(entry);
      ends[await vanish(entry)] += 1;
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, vanishing));

  const began = performance.now();
  const next = await ask(shop.origin, 'POST', '/api/v1/weighings', weighing(shop, entries[0]));
  const took = performance.now() - began;
  if (next.status !== 200 || took > SOON_MS) throw new Error(`${name}: the next request got ${next.status} after ${took} ms`);
  // What was under way when its phone vanished comes to its end.
  await pause(1000);
  if (database) {
    const left = psql('postgres', `SELECT COUNT(*) FROM pg_stat_activity WHERE datname LIKE 'endurance%' AND state LIKE 'idle in transaction%'`);
    if (left !== '0') throw new Error(`${name}: ${left} connections were left in a transaction`);
  }
  let faults = record.check();
  if (faults) throw new Error(`${name}: check says: ${faults}`);
  const held = [...(await shelf(shop)).values()].reduce((sum, grams) => sum + grams, 0);

  // Sent once more, each is there once, whether it had been saved or not.
  const left = [...entries];
  const sender = async (line) => {
    for (let entry = left.pop(); entry; entry = left.pop()) {
      const answer = await ask(shop.origin, 'POST', '/api/v1/weighings', { ...weighing(shop, entry), agent: line });
      if (answer.status !== 200) throw new Error(`${name}: sent again: ${answer.status} ${answer.body}`);
    }
  };
  const lines = agent(8);
  await Promise.all(Array.from({ length: 8 }, () => sender(lines)));
  lines.destroy();
  const lots = await shelf(shop);
  for (const lot of shop.lots) {
    const due = entries.filter((entry) => entry.lot === lot).reduce((sum, { grams }) => sum + grams, 0);
    if (lots.get(lot) !== due) throw new Error(`${name}: lot ${lot} holds ${lots.get(lot)} g instead of ${due} g`);
  }
  await server.kill('SIGTERM');
  faults = record.check();
  if (faults) throw new Error(`${name}: check says: ${faults}`);
  record.remove();
  return { phones: rounds, ...ends, grams_saved_before_they_vanished: held, next_request_ms: Math.round(took) };

  /// Sends a weighing and is gone before it has its answer; says where it was.
  function vanish(entry) {
    const { headers, body } = weighing(shop, entry);
    const head = `POST /api/v1/weighings HTTP/1.1\r\nhost: 127.0.0.1:${port}\r\nauthorization: ${headers.authorization}\r\ncontent-type: application/json\r\ncontent-length: ${body.length}\r\n\r\n`;
    const whole = head + body;
    // Half of them send all of it.
    const sent = Math.random() < 0.5 ? whole.length : Math.floor(Math.random() * whole.length);
    return new Promise((done) => {
      const socket = connect(port, '127.0.0.1');
      let where = sent < head.length ? 'in_the_head' : sent < whole.length ? 'in_the_body' : 'awaiting';
      socket.on('error', () => {});
      socket.on('data', () => (where = 'answered'));
      socket.on('close', () => done(where));
      socket.on('connect', () => {
        socket.write(whole.slice(0, sent), () => {
          const gone = () => (Math.random() < 0.5 ? socket.resetAndDestroy() : socket.destroy());
          setTimeout(gone, Math.random() ** 3 * LONGEST_WAIT_MS);
        });
      });
    });
  }
}
