/**
 * Letters of single lines for engraving, our own: drawn on a lattice 4 wide and 6 high, corners cut. Each letter is a list of lines, each
 * line a run of points written as two digits (x, y).
 */
const LETTERS: Readonly<Record<string, string>> = {
  A: '00 04 26 44 40|02 42',
  B: '00 06 36 45 44 33 03|33 42 41 30 00',
  C: '41 30 10 01 05 16 36 45',
  D: '00 06 26 44 42 20 00',
  E: '40 00 06 46|03 33',
  F: '00 06 46|03 33',
  G: '23 43 41 30 10 01 05 16 36 45',
  H: '00 06|40 46|03 43',
  I: '10 30|20 26|16 36',
  J: '01 10 20 31 36|16 46',
  K: '00 06|46 03 40',
  L: '06 00 40',
  M: '00 06 23 46 40',
  N: '00 06 40 46',
  O: '10 01 05 16 36 45 41 30 10',
  P: '00 06 36 45 43 32 02',
  Q: '10 01 05 16 36 45 41 30 10|22 40',
  R: '00 06 36 45 43 32 02|22 40',
  S: '01 10 30 41 42 33 13 04 05 16 36 45',
  T: '20 26|06 46',
  U: '06 01 10 30 41 46',
  V: '06 20 46',
  W: '06 10 24 30 46',
  X: '00 46|06 40',
  Y: '06 23 46|23 20',
  Z: '06 46 00 40',
  '0': '10 01 05 16 36 45 41 30 10|12 34',
  '1': '05 26 20|00 40',
  '2': '05 16 36 45 44 00 40',
  '3': '06 46 23 33 42 41 30 10 01',
  '4': '30 36 02 42',
  '5': '46 06 04 34 43 41 30 00',
  '6': '45 36 16 05 01 10 30 41 42 33 03',
  '7': '06 46 10',
  '8': '13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33',
  '9': '01 10 30 41 45 36 16 05 04 13 43',
  '-': '13 33',
  '.': '10 11',
  // An arrow up.
  '^': '20 26|04 26 44',
};

/** Widths on the lattice: a letter and the space after it. */
const WIDE = 4;
const SPACE = 1.6;

/** Lines of a text `height` mm high, from (0, 0) to the right; letters that are not there are left blank. */
export function strokesOf(text: string, height: number): { lines: number[][]; width: number } {
  const k = height / 6;
  const lines: number[][] = [];
  [...text.toUpperCase()].forEach((letter, i) => {
    for (const run of LETTERS[letter]?.split('|') ?? [])
      lines.push(run.split(' ').flatMap((p) => [k * (i * (WIDE + SPACE) + Number(p[0])), k * Number(p[1])]));
  });
  return { lines, width: k * Math.max(0, [...text].length * (WIDE + SPACE) - SPACE) };
}
