// SPDX-License-Identifier: MIT
// A frame's tiles as they come: asked for when seen, given up when no longer, kept up to a bound.
import { key, link } from "../api";
import type { Pixels } from "./answers";
import type { Block } from "./levels";

const mostKept = 240; // of 64 kB each
const mostAsked = 6;

export interface Tile {
    width: number;
    height: number;
    grey: Uint8Array;
}
interface Wanted {
    level: number;
    column: number;
    row: number;
}

export class TileStore {
    private readonly kept = new Map<string, Tile>();
    private readonly asked = new Map<string, AbortController>();
    private readonly refused = new Set<string>();
    private wanted: Wanted[] = [];

    constructor(
        readonly pixels: Pixels,
        private readonly came: () => void,
        private readonly failed: (error: unknown) => void,
    ) {}

    tile(level: number, column: number, row: number): Tile | null {
        return this.kept.get(name({ level, column, row })) ?? null;
    }

    // From the middle outwards; what is no longer seen is no longer asked for.
    want(block: Block): void {
        const middle = [block.column + (block.columns - 1) / 2, block.row + (block.rows - 1) / 2] as const;
        const all: Wanted[] = [];
        for (let row = block.row; row < block.row + block.rows; ++row) {
            for (let column = block.column; column < block.column + block.columns; ++column) all.push({ level: block.level, column, row });
        }
        const names = new Set(all.map(name));
        for (const [one, control] of this.asked) {
            if (names.has(one)) continue;
            control.abort();
            this.asked.delete(one);
        }
        for (const one of names) this.touch(one);
        const distance = (one: Wanted) => Math.hypot(one.column - middle[0], one.row - middle[1]);
        this.wanted = all.filter((one) => !this.kept.has(name(one)) && !this.asked.has(name(one)) && !this.refused.has(name(one)));
        this.wanted.sort((a, b) => distance(a) - distance(b));
        this.next();
    }

    close(): void {
        this.wanted = [];
        this.asked.forEach((control) => control.abort());
        this.asked.clear();
    }

    private touch(one: string): void {
        const tile = this.kept.get(one);
        if (!tile) return;
        this.kept.delete(one);
        this.kept.set(one, tile);
    }

    private next(): void {
        while (this.asked.size < mostAsked) {
            const one = this.wanted.shift();
            if (!one) return;
            const control = new AbortController();
            this.asked.set(name(one), control);
            void this.ask(one, control);
        }
    }

    private async ask(one: Wanted, control: AbortController): Promise<void> {
        const at = name(one);
        try {
            this.keep(at, await fetchTile(this.pixels, one, control.signal));
        } catch (error) {
            if (!control.signal.aborted) {
                this.refused.add(at);
                this.failed(error);
            }
        }
        if (this.asked.get(at) === control) this.asked.delete(at);
        if (control.signal.aborted) return;
        this.came();
        this.next();
    }

    private keep(at: string, tile: Tile): void {
        this.kept.set(at, tile);
        for (const oldest of this.kept.keys()) {
            if (this.kept.size <= mostKept) break;
            this.kept.delete(oldest);
        }
    }
}

function name({ level, column, row }: Wanted): string {
    return `${level}/${column}/${row}`;
}

async function fetchTile(pixels: Pixels, one: Wanted, signal: AbortSignal): Promise<Tile> {
    const path = `/api/frames/${encodeURIComponent(pixels.id)}/tiles/${name(one)}`;
    const own = key();
    const answer = await fetch(link(path, { v: pixels.version }), { signal, headers: own ? { "X-Emberline-Key": own } : {} });
    if (!answer.ok) throw new Error(`part of the frame did not come (status ${answer.status})`);
    return decoded(await answer.blob());
}

async function decoded(blob: Blob): Promise<Tile> {
    const bitmap = await createImageBitmap(blob, { colorSpaceConversion: "none", premultiplyAlpha: "none" });
    const canvas = document.createElement("canvas");
    canvas.width = bitmap.width;
    canvas.height = bitmap.height;
    const context = canvas.getContext("2d", { willReadFrequently: true })!;
    context.drawImage(bitmap, 0, 0);
    bitmap.close();
    const { data, width, height } = context.getImageData(0, 0, canvas.width, canvas.height);
    const grey = new Uint8Array(width * height);
    for (let i = 0; i < grey.length; ++i) grey[i] = data[4 * i]!;
    return { width, height, grey };
}
