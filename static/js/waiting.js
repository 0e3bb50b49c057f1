// On every page: how many entries wait on this phone, and a form that cannot reach the box is kept instead of lost.

import {
  ASKED, REFUSED, WAITING, ask, changes, entries, keepReading, keepSending, keepTeardownEntry, me,
} from './queue.js';

const bar = document.querySelector('#waiting');

async function count() {
  const open = (await entries()).filter((entry) => [WAITING, ASKED, REFUSED].includes(entry.state));
  const looked = open.filter((entry) => entry.state !== WAITING).length;
  bar.hidden = open.length === 0;
  if (open.length === 0) return;
  const link = bar.querySelector('a');
  // Weights and times of a teardown go to an address of their own.
  const [one, more] = open.some((entry) => entry.address) ? ['entry waits', 'entries wait'] : ['weighing waits', 'weighings wait'];
  const many = open.length === 1 ? `1 ${one}` : `${open.length} ${more}`;
  link.textContent = looked > 0 ? `${many} on this phone, ${looked} to look at` : `${many} on this phone`;
}

/// Whether the box can be reached just now.
async function reached() {
  try {
    return (await ask('/healthz', { signal: AbortSignal.timeout(4000) })).ok;
  } catch {
    return false;
  }
}

/// What was typed while the wifi went away is kept on the phone: a reading for a lot, or an entry of a teardown.
async function keepForm(form) {
  const fields = new FormData(form);
  const reading = form.querySelector('[name=reading]');
  const { keptEntry: kind, teardown } = form.dataset;
  if (kind) {
    await keepTeardownEntry({ teardown, kind, label: document.querySelector('h1').textContent, reading: reading?.value.trim() });
  } else {
    // The bag is the form's, or the one that is chosen in it.
    const { lot, label, seen } = form.querySelector('select[name=lot]')?.selectedOptions[0]?.dataset ?? form.dataset;
    await keepReading({ lot, label, seen, fields });
  }
  const kept = form.querySelector('.kept');
  kept.hidden = false;
  if (reading) reading.value = '';
  kept.scrollIntoView({ block: 'nearest' });
}

/// Whether there is something in a form to keep.
function hasSomething(form) {
  const reading = form.querySelector('[name=reading]');
  const lot = form.querySelector('select[name=lot]');
  return (!reading || reading.value.trim() !== '') && (!lot || lot.value !== '');
}

/// Forms of which it was made sure that the box can be reached.
const checked = new WeakSet();

async function guard(event) {
  const { target: form, submitter } = event;
  if (!form.matches('[data-kept-offline], [data-kept-entry]') || checked.has(form)) return;
  event.preventDefault();
  if (await reached()) {
    checked.add(form);
    form.requestSubmit(submitter);
  } else if (hasSomething(form)) {
    await keepForm(form);
  }
}

if (bar && 'indexedDB' in window) {
  changes.addEventListener('change', count);
  // At the document: a live page changes its forms.
  document.addEventListener('submit', guard);
  me();
  keepSending();
  count();
}
if ('serviceWorker' in navigator) navigator.serviceWorker.register('/worker.js').catch(() => {});
