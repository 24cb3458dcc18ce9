// SPDX-License-Identifier: MIT
// Small pictures of values, a pixel a square, y upwards: light in the picture's own shades, residuals in two tones
// about the middle.
import { theme } from "../theme";
import { colour, share, type Stretch } from "./stretch";

export type Shades = { kind: "light"; stretch: Stretch } | { kind: "residual"; most: number };

export function paintSquare(canvas: HTMLCanvasElement, values: readonly (number | null)[], width: number, height: number, shades: Shades): void {
    canvas.width = width;
    canvas.height = height;
    const context = canvas.getContext("2d")!;
    const image = context.createImageData(width, height);
    const out = new Uint32Array(image.data.buffer);
    const red = theme() === "night";
    for (let y = 0; y < height; ++y) {
        for (let x = 0; x < width; ++x) {
            const value = values[y * width + x];
            if (value === null || value === undefined) continue;
            out[(height - 1 - y) * width + x] = shades.kind === "light" ? colour(share(value, shades.stretch), { inverted: !red, red }) : residual(value / shades.most, red);
        }
    }
    context.putImageData(image, 0, 0);
}

type Rgb = readonly [number, number, number];
// Too bright, nothing left, too faint.
const day: readonly [Rgb, Rgb, Rgb] = [[190, 60, 20], [250, 249, 246], [38, 70, 110]];
const night: readonly [Rgb, Rgb, Rgb] = [[255, 0, 0], [96, 0, 0], [0, 0, 0]];

// -1 … 1 as a colour in 32 bits.
export function residual(part: number, red: boolean): number {
    const [bright, middle, faint] = red ? night : day;
    const end = part > 0 ? bright : faint;
    const weight = Math.min(Math.abs(part), 1);
    const mixed = middle.map((value, i) => Math.round(value + (end[i]! - value) * weight));
    return (0xff000000 | (mixed[2]! << 16) | (mixed[1]! << 8) | mixed[0]!) >>> 0;
}
