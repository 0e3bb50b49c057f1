// kill -9 at random moments while several devices weigh in: what was acknowledged is there once, and nothing is there twice.

import { Record, agent, ask, newId, pause, quantile, serve, setUp, shelf, weighing } from './shop.mjs';

const CLIENTS = 8;
const LOTS = 4;
/// The program lives for a random time up to this after it has come up, in milliseconds.
const LONGEST_LIFE_MS = 400;

/// Kills the program `rounds` times over one record and looks at the record after each.
export async function killRounds({ name, rounds, port, database }) {
  const record = new Record(database);
  let server = await serve(record, port);
  const shop = await setUp(server, LOTS);
  /// What was sent: each entry's grams are of its own, so that a missing or doubled one shows in the sum.
  const acknowledged = new Map();
  const unsure = new Map();
  const starts = [];
  let retried = 0;
  let cut = 0;

  for (let round = 1; round <= rounds; round += 1) {
    let alive = true;
    const phones = Array.from({ length: CLIENTS }, () => weighUntil(() => !alive));
    await pause(Math.random() * LONGEST_LIFE_MS);
    await server.kill();
    alive = false;
    await Promise.all(phones);
    const faults = record.check();
    if (faults) throw new Error(`${name}, round ${round}: check says: ${faults}`);
    server = await serve(record, port);
    starts.push(server.started);
    // What got no answer is sent once more under its id, and some of what got one.
    for (const entry of [...unsure.values(), ...[...acknowledged.values()].slice(-5)]) {
      const answer = await ask(shop.origin, 'POST', '/api/v1/weighings', weighing(shop, entry));
      if (answer.status !== 200) throw new Error(`${name}, round ${round}: sent again: ${answer.status} ${answer.body}`);
      acknowledged.set(entry.id, entry);
      unsure.delete(entry.id);
      retried += 1;
    }
    await compare(round);
  }
  await server.kill('SIGTERM');
  const faults = record.check();
  if (faults) throw new Error(`${name}: check says: ${faults}`);
  record.remove();
  return { rounds, acknowledged: acknowledged.size, cut, retried, start_median_ms: Math.round(quantile(starts, 0.5)), start_longest_ms: Math.round(Math.max(...starts)) };

  async function weighUntil(over) {
    const line = agent(1);
    while (!over()) {
      const entry = { id: newId(), lot: shop.lots[Math.floor(Math.random() * LOTS)], grams: 1 + Math.floor(Math.random() * 9) };
      unsure.set(entry.id, entry);
      const answer = await ask(shop.origin, 'POST', '/api/v1/weighings', { ...weighing(shop, entry), agent: line }).catch(() => null);
      if (answer === null) {
        cut += 1;
        break;
      }
      if (answer.status !== 200) throw new Error(`${name}: ${answer.status} ${answer.body}`);
      acknowledged.set(entry.id, entry);
      unsure.delete(entry.id);
    }
    line.destroy();
  }

  /// Each lot holds exactly what was acknowledged on it.
  async function compare(round) {
    const due = new Map(shop.lots.map((lot) => [lot, 0]));
    for (const { lot, grams } of acknowledged.values()) due.set(lot, due.get(lot) + grams);
    const held = await shelf(shop);
    for (const [lot, grams] of due) {
      if (held.get(lot) !== grams) throw new Error(`${name}, round ${round}: lot ${lot} holds ${held.get(lot)} g, acknowledged were ${grams} g`);
    }
  }
}
