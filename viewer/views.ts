/**
 * Ways to look: `turn` is the compass angle of the eye about the vertical, degrees from straight ahead of the vehicle (+X)
 * counter-clockwise from above (+Y is the left side); `tilt` is its height over the horizon.
 */
export interface Look {
  readonly turn: number;
  readonly tilt: number;
}

export const VIEWS: Readonly<Record<string, Look>> = {
  'three-quarter': { turn: 40, tilt: 28 },
  'left side': { turn: 90, tilt: 0 },
  'right side': { turn: -90, tilt: 0 },
  'from above': { turn: 180, tilt: 90 },
  'from below': { turn: 180, tilt: -90 },
  'from behind': { turn: 180, tilt: 0 },
  'from front': { turn: 0, tilt: 0 },
};

const near = (a: number, b: number): boolean => Math.abs(((((a - b) % 360) + 540) % 360) - 180) < 0.6;

/** The look in words: a view's name, or where the eye stands. */
export function describeLook(look: Look): string {
  for (const [name, v] of Object.entries(VIEWS))
    if (near(look.tilt, v.tilt) && (Math.abs(v.tilt) === 90 || near(look.turn, v.turn))) return name;
  const sides = ['from front', 'front left', 'left side', 'behind left', 'from behind', 'behind right', 'right side', 'front right'];
  const side = sides[((Math.round(look.turn / 45) % 8) + 8) % 8];
  const tilt = Math.round(look.tilt);
  return tilt === 0 ? side : `${side}, ${Math.abs(tilt)}° ${tilt > 0 ? 'above' : 'below'}`;
}
