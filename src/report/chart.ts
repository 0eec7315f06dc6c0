/** A line of a chart: its name and points in order of x; a gap where y is null. */
export interface Line {
  readonly name: string;
  readonly points: readonly { readonly x: number; readonly y: number | null }[];
}

export interface ChartTexts {
  readonly title: string;
  readonly x: string;
  readonly y: string;
  /** A line under everything. */
  readonly foot?: string;
}

const SIZE = { width: 720, height: 440, left: 64, right: 150, top: 44, bottom: 52 };
/** Told apart by shade and dash, so that it prints in black. */
const INK = ['#1d1f24', '#a8320a', '#56606b', '#8a6d1f', '#2f5d62', '#7a7f87'];
const DASH = ['', '', '7 4', '2 4', '9 3 2 3', '1 3'];

/** A plain line chart as SVG text; axes start at round figures, y at the least of the data. */
export function lineChart(lines: readonly Line[], texts: ChartTexts): string {
  const { width, height, left, right, top, bottom } = SIZE;
  const deep = height + (texts.foot ? 22 : 0);
  const all = lines.flatMap((l) => l.points);
  const xs = ticksOver(all.map((p) => p.x));
  const ys = ticksOver(all.flatMap((p) => (p.y === null ? [] : [p.y])));
  const span = (t: readonly number[]): number => t[t.length - 1] - t[0] || 1;
  const px = (x: number): number => left + ((x - xs[0]) / span(xs)) * (width - left - right);
  const py = (y: number): number => height - bottom - ((y - ys[0]) / span(ys)) * (height - top - bottom);
  const out = [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${deep}" font-family="sans-serif" font-size="13" fill="#1d1f24">`,
    `<rect width="${width}" height="${deep}" fill="#fff"/>`,
    `<text x="${left}" y="24" font-size="16" font-weight="bold">${escaped(texts.title)}</text>`,
  ];
  for (const x of xs)
    out.push(
      `<line x1="${px(x)}" x2="${px(x)}" y1="${top}" y2="${height - bottom}" stroke="#ddd"/><text x="${px(x)}" y="${height - bottom + 18}" text-anchor="middle">${tidy(x)}</text>`,
    );
  for (const y of ys)
    out.push(
      `<line x1="${left}" x2="${width - right}" y1="${py(y)}" y2="${py(y)}" stroke="#ddd"/><text x="${left - 8}" y="${py(y) + 4}" text-anchor="end">${tidy(y)}</text>`,
    );
  out.push(`<text x="${(left + width - right) / 2}" y="${height - 12}" text-anchor="middle">${escaped(texts.x)}</text>`);
  out.push(`<text transform="translate(16 ${(top + height - bottom) / 2}) rotate(-90)" text-anchor="middle">${escaped(texts.y)}</text>`);
  if (texts.foot) out.push(`<text x="12" y="${deep - 10}" font-size="9">${escaped(texts.foot)}</text>`);
  lines.forEach((line, i) => {
    const stroke = `stroke="${INK[i % INK.length]}" stroke-width="2" stroke-dasharray="${DASH[i % DASH.length]}" fill="none"`;
    let path = '';
    let pen = 'M';
    for (const { x, y } of line.points) {
      if (y === null) pen = 'M';
      else {
        path += `${pen}${px(x).toFixed(1)} ${py(y).toFixed(1)}`;
        pen = 'L';
      }
    }
    if (path) out.push(`<path d="${path}" ${stroke}/>`);
    const key = top + 10 + 20 * i;
    out.push(
      `<path d="M${width - right + 12} ${key}h26" ${stroke}/><text x="${width - right + 44}" y="${key + 4}">${escaped(line.name)}</text>`,
    );
  });
  return `${out.join('\n')}\n</svg>\n`;
}

/** Four to eight round figures over the values. */
function ticksOver(values: readonly number[]): number[] {
  if (values.length === 0) return [0, 1];
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const rough = (high - low || Math.abs(high) || 1) / 5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = ([1, 2, 5].find((m) => m * power >= rough) ?? 10) * power;
  const first = Math.floor(low / step + 1e-9);
  const last = Math.ceil(high / step - 1e-9);
  return Array.from({ length: Math.max(2, last - first + 1) }, (_, i) => (first + i) * step);
}

const tidy = (v: number): string => String(Number(v.toPrecision(6)));
const escaped = (text: string): string => text.replace(/[&<>"]/g, (c) => `&#${c.charCodeAt(0)};`);
