/** Makes an element: attributes by name, `text` as its text, children after. Never parses markup. */
export function make<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Readonly<Record<string, string | boolean>> = {},
  ...children: readonly (Node | string)[]
): HTMLElementTagNameMap[K] {
  const e = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) e.setAttribute(name, '');
    else if (value !== false) e.setAttribute(name, value);
  }
  e.append(...children);
  return e;
}

/** A remark that is seen only while the dials stand otherwise than in the fine run. */
export const ofFine = (text = 'of the fine run, not for these dials'): HTMLElement => make('small', { class: 'of-fine' }, text);

/** The element of that id; the page is built so that it is there. */
export function part(id: string): HTMLElement {
  const e = document.getElementById(id);
  if (!e) throw new Error(`the page lacks #${id}`);
  return e;
}

/** A value of the page's colours, as the style sheet has it for bright or dark paper. */
export const colour = (name: string): string => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

let ids = 0;
export const freshId = (): string => `id${++ids}`;

/** Hands a file to the user's download folder. */
export function download(name: string, data: Blob): void {
  const url = URL.createObjectURL(data);
  make('a', { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
}
