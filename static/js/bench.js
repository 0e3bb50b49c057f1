// The labour rate as a slider: while it moves, the page's answer is fetched anew. Without this the form's button does it.

const DEBOUNCE_MS = 120;

let due;
let asked = 0;

/// Fetches the page as its form stands, and takes over the answer alone: what is being slid stays in hand.
async function answer(form) {
  const nth = ++asked;
  const address = `${form.getAttribute('action')}?${new URLSearchParams(new FormData(form))}`;
  try {
    const page = await fetch(address, { headers: { accept: 'text/html' } });
    if (!page.ok || page.redirected || nth !== asked) return;
    const fresh = new DOMParser().parseFromString(await page.text(), 'text/html').getElementById(form.dataset.answers);
    const shown = document.getElementById(form.dataset.answers);
    if (!fresh || !shown) return;
    const open = new Set([...shown.querySelectorAll('details[open]')].map((details) => details.closest('[id]')?.getAttribute('id')));
    for (const details of fresh.querySelectorAll('details')) details.open = open.has(details.closest('[id]')?.getAttribute('id'));
    shown.replaceChildren(...fresh.childNodes);
    history.replaceState(null, '', address);
  } catch {
    // No network: what is shown stays, and the next move tries again.
  }
}

function soon(form) {
  clearTimeout(due);
  due = setTimeout(() => answer(form), DEBOUNCE_MS);
}

for (const slide of document.querySelectorAll('[data-slides]')) slide.hidden = false;
document.addEventListener('input', ({ target }) => {
  const form = target.closest('[data-answers]');
  if (!form) return;
  if (target.dataset.slides) form.elements[target.dataset.slides].value = target.value;
  else if (target.name === 'rate' && form.querySelector('[data-slides]')) form.querySelector('[data-slides]').value = target.value;
  soon(form);
});
