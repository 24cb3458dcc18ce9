// SPDX-License-Identifier: MIT
// What part of a frame is seen, and how large. Pixel centres are whole numbers from 0, y runs upwards on the screen.
import { apply, inverse, type Affine, type Jacobian, type XY } from "./affine";

export interface Viewport {
    x: number; // the frame's pixel in the middle of the picture
    y: number;
    zoom: number; // CSS pixels that a pixel of the frame takes
    turn: number; // anticlockwise on the screen, in radians
}
export interface Size {
    width: number; // CSS pixels
    height: number;
}

export const mostZoom = 16;

export function toScreen(view: Viewport, size: Size): Affine {
    const cos = Math.cos(view.turn) * view.zoom;
    const sin = Math.sin(view.turn) * view.zoom;
    // Turned anticlockwise with y up, then y turned down as the screen counts it.
    const a = cos;
    const b = -sin;
    const c = -sin;
    const d = -cos;
    return [a, b, c, d, size.width / 2 - a * view.x - c * view.y, size.height / 2 - b * view.x - d * view.y];
}

// The turn that brings north upwards. East is then to the left, or to the right where the optics mirror the sky.
export function northUp(matrix: Jacobian | null): number {
    if (!matrix) return 0;
    return Math.PI / 2 - Math.atan2(matrix[3], matrix[1]);
}

// The whole frame, turned or not.
export function wholeZoom(width_px: number, height_px: number, turn: number, size: Size): number {
    const cos = Math.abs(Math.cos(turn));
    const sin = Math.abs(Math.sin(turn));
    return Math.min(size.width / (width_px * cos + height_px * sin), size.height / (width_px * sin + height_px * cos));
}

export function whole(width_px: number, height_px: number, turn: number, size: Size): Viewport {
    return { x: (width_px - 1) / 2, y: (height_px - 1) / 2, zoom: wholeZoom(width_px, height_px, turn, size), turn };
}

// Kept from leaving the frame, and from a zoom that shows less or more than can be.
export function kept(view: Viewport, width_px: number, height_px: number, size: Size): Viewport {
    const least = Math.min(wholeZoom(width_px, height_px, view.turn, size), mostZoom);
    return {
        x: Math.min(Math.max(view.x, -0.5), width_px - 0.5),
        y: Math.min(Math.max(view.y, -0.5), height_px - 0.5),
        zoom: Math.min(Math.max(view.zoom, least), mostZoom),
        turn: view.turn,
    };
}

// What lies under the place `at` of the screen stays there.
export function zoomed(view: Viewport, size: Size, factor: number, at: XY, least: number): Viewport {
    const zoom = Math.min(Math.max(view.zoom * factor, least), mostZoom);
    const held = apply(inverse(toScreen(view, size)), at);
    const moved = apply(inverse(toScreen({ ...view, zoom }, size)), at);
    return { ...view, zoom, x: view.x + held[0] - moved[0], y: view.y + held[1] - moved[1] };
}

export function panned(view: Viewport, size: Size, right: number, down: number): Viewport {
    const [x, y] = apply(inverse(toScreen(view, size)), [size.width / 2 - right, size.height / 2 - down]);
    return { ...view, x, y };
}

export interface Box {
    left: number;
    bottom: number;
    right: number;
    top: number;
}

// The smallest upright box of pixels that holds the picture's corners.
export function seen(map: Affine, size: Size): Box {
    const back = inverse(map);
    const corners = [[0, 0], [size.width, 0], [0, size.height], [size.width, size.height]].map((corner) => apply(back, corner as [number, number]));
    const xs = corners.map((corner) => corner[0]);
    const ys = corners.map((corner) => corner[1]);
    return { left: Math.min(...xs), right: Math.max(...xs), bottom: Math.min(...ys), top: Math.max(...ys) };
}
