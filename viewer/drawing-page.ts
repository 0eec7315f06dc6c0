import type { Source } from './data.ts';

/** Name of the drawing page that `voidgauge make` writes. */
const FILE = 'drawing.svg';

/** The drawing page of the workshop's files as a picture, when the report was given one. */
export async function drawingPage(source: Source): Promise<SVGSVGElement | undefined> {
  if (!source.names.includes(FILE)) return undefined;
  const text = new TextDecoder().decode(await source.read(FILE));
  const root = new DOMParser().parseFromString(text, 'image/svg+xml').documentElement;
  return root instanceof SVGSVGElement ? document.importNode(root, true) : undefined;
}
