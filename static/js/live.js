// Keeps an open page as the shop is: when somebody saves something, the page fetches itself and takes over what is new.
// What is being typed stays, and so does the form it stands in.

const DEBOUNCE_MS = 120;
const FIRST_RETRY_MS = 1000;
const LAST_RETRY_MS = 30_000;

const main = document.querySelector('main[data-live]');
const status = document.querySelector('#live-status');
let source;
let retry = FIRST_RETRY_MS;
let due;
let fetching = false;
let again = false;
let who = '';

function listen() {
  source = new EventSource('/live');
  source.addEventListener('open', () => {
    // What was saved while nobody listened is caught up with, and what the page was still waiting for: its news may have come
    // between the page and the line.
    if (retry !== FIRST_RETRY_MS || main.querySelector('[data-unfinished]')) refreshSoon();
    retry = FIRST_RETRY_MS;
  });
  source.addEventListener('change', (event) => {
    const change = JSON.parse(event.data);
    // What a scale shows is news only where it can be taken over.
    if (change.what === 'scale' && !document.querySelector('#scales')) return;
    who = change.who ?? '';
    refreshSoon();
  });
  source.addEventListener('error', () => {
    // Browsers give up for good on some answers; the shop's box may only be starting again.
    if (source.readyState !== EventSource.CLOSED) return;
    setTimeout(() => document.visibilityState === 'visible' && listen(), retry);
    retry = Math.min(retry * 2, LAST_RETRY_MS);
  });
}

function refreshSoon() {
  clearTimeout(due);
  due = setTimeout(refresh, DEBOUNCE_MS);
}

async function refresh() {
  if (fetching) {
    again = true;
    return;
  }
  fetching = true;
  try {
    const answer = await fetch(location.href, { headers: { accept: 'text/html' } });
    if (answer.redirected) {
      // Signed out, or the thing has gone elsewhere: where nothing would be lost, the page follows.
      if (!main.querySelector('form') || ![...main.querySelectorAll('form')].some(isTouched)) location.reload();
      return;
    }
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
    const fresh = page.querySelector('main[data-live]');
    if (!fresh) return;
    const overtaken = takeOver(main, fresh);
    if (overtaken) say(`${who || 'Somebody'} has just changed what you are working on. What you typed is still here.`);
  } catch {
    // No network: the next event, or the line coming back, tries again.
  } finally {
    fetching = false;
    if (again) {
      again = false;
      refreshSoon();
    }
  }
}

/// Makes `shown` what `fresh` is, but for forms that somebody is in the middle of. Says whether one of those has been
/// overtaken: its thing is at another version now.
function takeOver(shown, fresh) {
  if (shown.isEqualNode(fresh)) return false;
  const working = [...shown.querySelectorAll('form'), ...(shown.matches('form') ? [shown] : [])].filter(isTouched);
  if (working.length === 0) {
    keepOpen(shown, fresh);
    shown.replaceChildren(...fresh.childNodes);
    copyAttributes(shown, fresh);
    return false;
  }
  if (shown.matches('form')) return version(shown) !== version(fresh);
  let overtaken = false;
  const left = [...fresh.children];
  for (const child of [...shown.children]) {
    const index = left.findIndex((candidate) => isSame(child, candidate));
    const counterpart = index < 0 ? null : left.splice(index, 1)[0];
    if (counterpart) overtaken = takeOver(child, counterpart) || overtaken;
    else if (child.matches('form') ? isTouched(child) : [...child.querySelectorAll('form')].some(isTouched)) overtaken = true;
    else child.remove();
  }
  // What is new goes where it stands on the fresh page, as near as what is kept allows.
  for (const child of left) shown.append(child);
  return overtaken;
}

/// Whether two elements are the same part of the page, at two moments.
function isSame(one, other) {
  if (one.tagName !== other.tagName) return false;
  // A form with a field called `id` has that field for its property of this name.
  const [id, otherId] = [one, other].map((element) => element.getAttribute('id'));
  if (id || otherId) return id === otherId;
  return address(one) === address(other);
}

function address(element) {
  const link = element.matches('a, form') ? element : element.querySelector(':scope > a');
  return link?.getAttribute('href') ?? link?.getAttribute('action') ?? '';
}

/// Whether somebody is in the middle of a form: a field has the focus, or holds something else than when it came.
function isTouched(form) {
  if (form.contains(document.activeElement) && document.activeElement.matches('input, select, textarea')) return true;
  return [...form.elements].some((field) => {
    if (field.type === 'hidden') return false;
    if (field.matches('select')) return [...field.options].some((option) => option.selected !== option.defaultSelected && hasDefault(field));
    if (field.type === 'checkbox' || field.type === 'radio') return field.checked !== field.defaultChecked;
    if (field.type === 'file') return field.files.length > 0;
    return field.value !== undefined && field.defaultValue !== undefined && field.value !== field.defaultValue;
  });
}

/// A select with no option marked shows its first one, which nobody chose.
function hasDefault(select) {
  return [...select.options].some((option) => option.defaultSelected) || select.selectedIndex > 0;
}

/// How long ago something was, as it goes on.
function growOlder() {
  for (const ago of document.querySelectorAll('[data-ago]')) {
    ago.dataset.ago = Number(ago.dataset.ago) + 1;
    ago.textContent = `${ago.dataset.ago} s ago`;
  }
}

function version(form) {
  return form.querySelector('input[name=version]')?.value ?? '';
}

/// What was folded open stays open.
function keepOpen(shown, fresh) {
  const key = (details, index) => details.id || `${index} ${details.querySelector('summary')?.textContent.trim().slice(0, 40)}`;
  const open = new Map([...shown.querySelectorAll('details')].map((details, index) => [key(details, index), details.open]));
  [...fresh.querySelectorAll('details')].forEach((details, index) => {
    const was = open.get(key(details, index));
    if (was !== undefined) details.open = was;
  });
}

function copyAttributes(shown, fresh) {
  for (const { name, value } of fresh.attributes) shown.setAttribute(name, value);
}

function say(words) {
  if (status) status.textContent = words;
}

if (main) {
  setInterval(growOlder, 1000);
  if (document.visibilityState === 'visible') listen();
  // A page in the pocket needs no line, and browsers have only a few of them.
  document.addEventListener('visibilitychange', () => {
    if (document.visibilityState === 'visible') {
      listen();
      refreshSoon();
    } else {
      source?.close();
    }
  });
}
