// SPDX-License-Identifier: MIT
// Affine maps of the plane in the order that a canvas takes: x' = a x + c y + e, y' = b x + d y + f.

export type Affine = readonly [a: number, b: number, c: number, d: number, e: number, f: number];
export type XY = readonly [x: number, y: number];
export type Jacobian = readonly [dxDeast: number, dxDnorth: number, dyDeast: number, dyDnorth: number];

export function apply(map: Affine, [x, y]: XY): XY {
    return [map[0] * x + map[2] * y + map[4], map[1] * x + map[3] * y + map[5]];
}

// First `inner`, then `outer`.
export function after(outer: Affine, inner: Affine): Affine {
    const [a, b, c, d] = outer;
    const [e, f] = apply(outer, [inner[4], inner[5]]);
    return [a * inner[0] + c * inner[1], b * inner[0] + d * inner[1], a * inner[2] + c * inner[3], b * inner[2] + d * inner[3], e, f];
}

export function inverse(map: Affine): Affine {
    const [a, b, c, d, e, f] = map;
    const det = a * d - b * c;
    if (det === 0) throw new RangeError("This map cannot be turned round.");
    return [d / det, -b / det, -c / det, a / det, (c * f - d * e) / det, (b * e - a * f) / det];
}

// How much longer the map makes a length; exact for maps that keep angles.
export function scaleOf(map: Affine): number {
    return Math.sqrt(Math.abs(map[0] * map[3] - map[1] * map[2]));
}

export interface SkyTied {
    transient: { x_px: number; y_px: number } | null;
    px_per_arcsec: Jacobian | null;
}

// Arcseconds east and north of the transient to pixels.
function skyToPixels(frame: SkyTied): Affine | null {
    if (!frame.transient || !frame.px_per_arcsec) return null;
    const [xe, xn, ye, yn] = frame.px_per_arcsec;
    if (xe * yn - xn * ye === 0) return null;
    return [xe, ye, xn, yn, frame.transient.x_px, frame.transient.y_px];
}

// Pixels of one frame to pixels of another that show the same sky: exact at the transient, and elsewhere as far as
// both frames are without distortion. Null where either frame's plate is not known.
export function between(from: SkyTied, to: SkyTied): Affine | null {
    const source = skyToPixels(from);
    const target = skyToPixels(to);
    return source && target ? after(target, inverse(source)) : null;
}
