// SPDX-License-Identifier: MIT
// From a tile's grey to what is drawn. Black and white are told in units of the frame's noise above its sky, so that
// one stretch serves every frame of the campaign and two frames that blink look alike.
import type { Encoding } from "./answers";

export type Curve = "linear" | "asinh";
export interface Stretch {
    black: number; // noise above the sky
    white: number;
    curve: Curve;
}

export const leastSpan = 0.5;

type Suggesting = { encoding: Encoding; suggested: { black_adu: number; white_adu: number } };

export function automatic(pixels: Suggesting): Stretch {
    const { sky_adu, noise_adu } = pixels.encoding;
    const black = (pixels.suggested.black_adu - sky_adu) / noise_adu;
    const white = (pixels.suggested.white_adu - sky_adu) / noise_adu;
    return { black, white: Math.max(white, black + leastSpan), curve: "asinh" };
}

// What is chosen, and where nothing is, what suits the frame.
export function stretchOf(pixels: Suggesting | null, chosen: { black: number | null; white: number | null; curve: Curve }): Stretch {
    const auto: Stretch = pixels ? automatic(pixels) : { black: -1, white: 50, curve: "asinh" };
    const black = chosen.black ?? auto.black;
    return { black, white: Math.max(chosen.white ?? auto.white, black + leastSpan), curve: chosen.curve };
}

// 0 … 1 of a value: black … white. "asinh" is linear within the noise and logarithmic far above it.
export function share(value: number, { black, white, curve }: Stretch): number {
    const bend = curve === "asinh" ? Math.asinh : (x: number) => x;
    const part = (bend(value) - bend(black)) / (bend(white) - bend(black));
    return Math.min(Math.max(part, 0), 1);
}

export function ofGrey(grey: number, encoding: Encoding): number {
    return Math.sinh(encoding.low + encoding.step * grey);
}

export interface Paint {
    inverted: boolean; // bright is drawn dark
    red: boolean; // red alone, for the night
}

// Of each grey its colour as ImageData has it in 32 bits (little-endian RGBA); 0, which is no pixel, is transparent.
export function lookup(encoding: Encoding, stretch: Stretch, paint: Paint): Uint32Array {
    const table = new Uint32Array(256);
    for (let grey = 1; grey < 256; ++grey) {
        table[grey] = colour(share(ofGrey(grey, encoding), stretch), paint);
    }
    return table;
}

export function colour(part: number, paint: Paint): number {
    const level = Math.round(255 * (paint.inverted ? 1 - part : part));
    return (paint.red ? 0xff000000 | level : 0xff000000 | (level << 16) | (level << 8) | level) >>> 0;
}
