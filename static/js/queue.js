// What was entered while the shop's box could not be reached: kept on this phone, sent when it can be, each once.
//
// Every entry has an id of its own before it is sent, so that one sent twice is stored once. It goes out only while the
// partner who typed it is signed in, and stays, with the reason, where it is refused.

const DATABASE = 'pennyweight';
const STORE = 'entries';
const RETRY_MS = 10_000;
const ANSWER_MS = 15_000;
/// A photo of 20 MB over a weak wifi.
const PHOTO_ANSWER_MS = 180_000;

/// The states of an entry: it waits, was stored, has a question to answer, or was refused.
export const WAITING = 'waiting';
export const STORED = 'stored';
export const ASKED = 'asked';
export const REFUSED = 'refused';

function opened() {
  return new Promise((found, failed) => {
    const request = indexedDB.open(DATABASE, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore(STORE, { keyPath: 'id' });
      request.result.createObjectStore('shelf', { keyPath: 'key' });
    };
    request.onsuccess = () => found(request.result);
    request.onerror = () => failed(request.error);
  });
}

/// Does something with a store of the phone's database; what it writes is on the disk when this comes back.
async function within(name, mode, work) {
  const database = await opened();
  try {
    return await new Promise((done, failed) => {
      const transaction = database.transaction(name, mode, { durability: 'strict' });
      const request = work(transaction.objectStore(name));
      transaction.oncomplete = () => done(request?.result);
      transaction.onerror = () => failed(transaction.error);
      transaction.onabort = () => failed(transaction.error);
    });
  } finally {
    database.close();
  }
}

export async function entries() {
  const all = await within(STORE, 'readonly', (store) => store.getAll());
  return all.sort((a, b) => (a.at < b.at ? -1 : 1));
}

const WEIGHINGS = '/api/v1/weighings';

/// Keeps a reading for a lot: `fields` are those of a form, `seen` what the
/// lot held, in micrograms, when the form was filled in.
export async function keepReading({ lot, label, seen, fields }) {
  await keepNew({
    label,
    body: {
      lot,
      reading: fields.get('reading').trim(),
      whole_container: fields.get('holds') === 'container',
      seen_micrograms: Number(seen),
      tare: fields.get('tare').trim() || undefined,
      pieces: Number.parseInt(fields.get('pieces'), 10) || undefined,
      teardown: fields.get('teardown') || undefined,
      part: fields.get('part') || undefined,
    },
  });
}

/// Keeps an entry of a teardown: a weight of the unit or its waste, or the timer turned, with the time of now.
export async function keepTeardownEntry({ teardown, kind, label, reading }) {
  await keepNew({
    label,
    address: `/api/v1/teardowns/${teardown}/entries`,
    body: { kind, reading: reading || undefined },
  });
}

/// Keeps a photo for the thing whose page has its form: `address` is where its photos go.
export async function keepPhoto({ address, label, photo }) {
  await keepNew({
    label,
    address: `/api/v1${address}`,
    // The bytes and not the file: a phone may tidy the camera's file away before it was sent.
    photo: new Blob([await photo.arrayBuffer()], { type: photo.type }),
    body: {},
  });
}

/// Keeps an entry of this moment, under whoever was last seen to be signed in.
async function keepNew(entry) {
  const who = await known('me').catch(() => undefined);
  const { partner_id, partner } = who ?? {};
  await keep({ id: newId(), state: WAITING, at: new Date().toISOString(), partner_id, partner, ...entry });
}

export async function keep(entry) {
  await within(STORE, 'readwrite', (store) => store.put(entry));
  told();
}

export async function drop(id) {
  await within(STORE, 'readwrite', (store) => store.delete(id));
  told();
}

/// What the phone last knew of the shop: who holds it, and which lots there are.
export const known = (key) => within('shelf', 'readonly', (store) => store.get(key)).then((row) => row?.value);
export const learn = (key, value) => within('shelf', 'readwrite', (store) => store.put({ key, value }));

/// Hears of every change of the entries.
export const changes = new EventTarget();

function told() {
  changes.dispatchEvent(new Event('change'));
}

/// A new id: a UUID of version 4. `crypto.randomUUID` is only there over HTTPS.
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('');
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

/// Asks the box, and gives up on an answer that does not come.
export function ask(address, options = {}) {
  return fetch(address, { cache: 'no-store', signal: AbortSignal.timeout(ANSWER_MS), ...options });
}

/// Who is signed in on this phone just now; undefined where the box cannot be reached, null where nobody is.
export async function me() {
  try {
    const answer = await ask('/api/v1/me');
    if (answer.status === 401) return null;
    if (!answer.ok) return undefined;
    const who = await answer.json();
    await learn('me', { partner_id: who.partner_id, partner: who.partner, shop: who.shop });
    return who;
  } catch {
    return undefined;
  }
}

let sending;

/// Sends what waits. Of several calls at once, one sends.
export function send() {
  sending ??= sendAll().finally(() => {
    sending = undefined;
  });
  return sending;
}

async function sendAll() {
  const waiting = (await entries()).filter((entry) => entry.state === WAITING);
  if (waiting.length === 0) return;
  const who = await me();
  if (!who) return;
  for (const entry of waiting) {
    if (entry.partner_id && entry.partner_id !== who.partner_id) continue;
    if (!(await sendOne(entry, who.form_token))) return;
  }
}

function askEntry(entry, token) {
  return ask(entry.address ?? WEIGHINGS, {
    method: 'POST',
    headers: { 'content-type': 'application/json', 'x-form-token': token },
    body: JSON.stringify({ ...entry.body, id: entry.id, at: entry.at }),
  });
}

function askPhoto({ address, id, at, photo }, token) {
  return ask(`${address}?${new URLSearchParams({ id, at })}`, {
    method: 'POST',
    headers: { 'content-type': photo.type || 'application/octet-stream', 'x-form-token': token },
    body: photo,
    signal: AbortSignal.timeout(PHOTO_ANSWER_MS),
  });
}

/// Sends one entry and keeps what became of it. False where the box could not take anything just now.
async function sendOne(entry, token) {
  let answer;
  try {
    answer = await (entry.photo ? askPhoto(entry, token) : askEntry(entry, token));
  } catch {
    return false;
  }
  if (answer.status === 401 || answer.status >= 500) return false;
  const told = await answer.json().catch(() => ({}));
  // What is on the box need not fill the phone.
  if (answer.ok) await keep({ ...entry, state: STORED, told, photo: entry.photo && new Blob() });
  else await keep({ ...entry, state: told.meanings?.length ? ASKED : REFUSED, told });
  return true;
}

/// Sends whenever there is a chance that it gets through.
export function keepSending() {
  addEventListener('online', send);
  document.addEventListener('visibilitychange', () => document.visibilityState === 'visible' && send());
  setInterval(() => document.visibilityState === 'visible' && send(), RETRY_MS);
  send();
}
