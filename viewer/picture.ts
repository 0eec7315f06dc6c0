import { colour, part } from './dom.ts';
import type { Drawing } from './drawing.ts';

/** The drawing as it stands, with its scale bar and a foot that says what it is: PNG. */
export async function savePicture(drawing: Drawing): Promise<Blob> {
  const from = drawing.stage.drawNow();
  const k = from.width / drawing.stage.size.width;
  const size = 13 * k;
  const lines = [
    `${part('job').textContent}: seen ${part('seen').textContent}, cut ${part('cutsays').textContent}`,
    ...(part('cautions').hidden ? [] : ['Estimate only: no certified capacity, strength, leak, fire or road-legality check.']),
  ];
  const foot = Math.round(size * 1.6 * lines.length + size);
  const sheet = document.createElement('canvas');
  sheet.width = from.width;
  sheet.height = from.height + foot;
  const pen = sheet.getContext('2d');
  if (!pen) throw new Error('The browser gives no canvas to make the picture on.');
  pen.fillStyle = colour('paper');
  pen.fillRect(0, 0, sheet.width, sheet.height);
  pen.drawImage(from, 0, 0);
  pen.fillStyle = colour('ink');
  pen.font = `${size}px ${getComputedStyle(document.body).fontFamily}`;
  lines.forEach((text, i) => {
    pen.fillText(text, size, from.height + size * 1.6 * (i + 1), sheet.width - 2 * size);
  });
  const bar = part('scalebar');
  const at = from.height - size * 1.5;
  pen.fillRect(size, at, bar.clientWidth * k, 2 * k);
  pen.fillText(bar.textContent ?? '', size, at - size * 0.5);
  return new Promise((done, fail) => sheet.toBlob((b) => (b ? done(b) : fail(new Error('The browser made no picture.'))), 'image/png'));
}
