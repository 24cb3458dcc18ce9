// SPDX-License-Identifier: MIT
// Which of a frame's reduced levels is drawn, and which of its tiles are seen.
import type { Level } from "./answers";
import type { Box } from "./viewport";

// An 8-bit tile of 256 x 256 pixels never takes much more than 66 kB: so many stay below 2 MB.
export const mostTiles = 30;

export interface Block {
    level: number;
    column: number; // the first
    row: number;
    columns: number; // how many
    rows: number;
}

// The tiles of a level that hold the box of full-size pixels.
export function tilesOf(level: Level, tile_px: number, box: Box): Block {
    const side = tile_px * 2 ** level.level;
    const clip = (value: number, most: number) => Math.min(Math.max(Math.floor(value), 0), most);
    const column = clip((box.left + 0.5) / side, level.columns - 1);
    const row = clip((box.bottom + 0.5) / side, level.rows - 1);
    return {
        level: level.level,
        column,
        row,
        columns: clip((box.right + 0.5) / side, level.columns - 1) - column + 1,
        rows: clip((box.top + 0.5) / side, level.rows - 1) - row + 1,
    };
}

// The level whose pixels come closest to those of the screen, or the next that keeps within `most` tiles.
// `zoom`: device pixels that a pixel of the frame takes.
export function chosen(levels: readonly Level[], tile_px: number, zoom: number, box: Box, most = mostTiles): Block {
    const last = levels.length - 1;
    const wanted = Math.min(Math.max(Math.round(Math.log2(1 / zoom)), 0), last);
    for (let k = wanted; k < last; ++k) {
        const block = tilesOf(levels[k]!, tile_px, box);
        if (block.columns * block.rows <= most) return block;
    }
    return tilesOf(levels[last]!, tile_px, box);
}
