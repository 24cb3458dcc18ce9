// SPDX-License-Identifier: MIT
// A frame's pixels on a canvas. The tiles that are seen are put together into one picture in the frame's own
// directions, which the canvas then turns and scales: tiles have no seams, and moving costs one drawing.
import type { Pixels } from "./answers";
import { after, scaleOf, type Affine } from "./affine";
import { chosen, type Block } from "./levels";
import { TileStore } from "./tiles";
import { seen, type Size } from "./viewport";

const crispFrom = 1.5; // device pixels

export class Picture {
    readonly store: TileStore;
    private readonly canvas = document.createElement("canvas");
    private block: Block | null = null;
    private table: Uint32Array | null = null;
    private stale = true;

    constructor(
        readonly pixels: Pixels,
        changed: () => void,
        failed: (error: unknown) => void,
    ) {
        this.store = new TileStore(
            pixels,
            () => {
                this.stale = true;
                changed();
            },
            failed,
        );
    }

    // `map`: the frame's pixels to CSS pixels of the canvas.
    draw(context: CanvasRenderingContext2D, map: Affine, size: Size, density: number, table: Uint32Array, mostTiles: number): void {
        const block = chosen(this.pixels.levels, this.pixels.tile_px, scaleOf(map) * density, seen(map, size), mostTiles);
        if (!sameBlock(block, this.block) || table !== this.table) this.stale = true;
        if (!sameBlock(block, this.block)) this.store.want(block);
        this.block = block;
        this.table = table;
        if (this.stale) this.put(block, table);
        this.stale = false;
        const step = 2 ** block.level;
        const tile = this.pixels.tile_px;
        const toFrame: Affine = [step, 0, 0, step, block.column * tile * step - 0.5, block.row * tile * step - 0.5];
        const full = after([density, 0, 0, density, 0, 0], after(map, toFrame));
        context.save();
        context.setTransform(...full);
        context.imageSmoothingEnabled = scaleOf(full) < crispFrom;
        context.imageSmoothingQuality = "high";
        context.drawImage(this.canvas, 0, 0);
        context.restore();
    }

    close(): void {
        this.store.close();
        this.canvas.width = 0;
    }

    private put(block: Block, table: Uint32Array): void {
        const tile = this.pixels.tile_px;
        const level = this.pixels.levels[block.level]!;
        const width = Math.min(block.columns * tile, level.width_px - block.column * tile);
        const height = Math.min(block.rows * tile, level.height_px - block.row * tile);
        if (this.canvas.width !== width || this.canvas.height !== height) {
            this.canvas.width = width;
            this.canvas.height = height;
        }
        const context = this.canvas.getContext("2d")!;
        const image = context.createImageData(width, height);
        const out = new Uint32Array(image.data.buffer);
        for (let row = 0; row < block.rows; ++row) {
            for (let column = 0; column < block.columns; ++column) this.putTile(out, width, height, block, column, row, table);
        }
        context.putImageData(image, 0, 0);
    }

    // A tile that has not come yet is drawn from the coarser one above it, where that has.
    private putTile(out: Uint32Array, width: number, height: number, block: Block, column: number, row: number, table: Uint32Array): void {
        const side = this.pixels.tile_px;
        for (let up = 0; block.level + up < this.pixels.levels.length; ++up) {
            const atColumn = (block.column + column) >> up;
            const atRow = (block.row + row) >> up;
            const tile = this.store.tile(block.level + up, atColumn, atRow);
            if (!tile) continue;
            const x0 = (block.column + column) * side;
            const y0 = (block.row + row) * side;
            const right = Math.min(side, width - column * side);
            const top = Math.min(side, height - row * side);
            for (let y = 0; y < top; ++y) {
                const from = Math.min(((y0 + y) >> up) - atRow * side, tile.height - 1) * tile.width;
                const to = (row * side + y) * width + column * side;
                for (let x = 0; x < right; ++x) {
                    const at = Math.min(((x0 + x) >> up) - atColumn * side, tile.width - 1);
                    out[to + x] = table[tile.grey[from + at]!]!;
                }
            }
            return;
        }
    }
}

function sameBlock(a: Block, b: Block | null): boolean {
    return !!b && a.level === b.level && a.column === b.column && a.row === b.row && a.columns === b.columns && a.rows === b.rows;
}
