// SPDX-License-Identifier: MIT
// The frames to choose from: those of the night that is looked at, and the best of each night and band.
import { read } from "../api";
import type { FrameRow } from "./answers";

export class FrameRows {
    own: FrameRow[] = [];
    best: FrameRow[] = [];
    private night: string | null = null;
    private known = false;

    // Read anew at the next time.
    forget(): void {
        this.known = false;
    }

    // True where it was read.
    async read(night: string | null): Promise<boolean> {
        if (this.known && this.night === night) return false;
        const [own, best] = await Promise.all([night ? ofNight(night) : Promise.resolve([]), read<{ frames: FrameRow[] }>("/api/frames")]);
        this.own = own;
        this.best = best.frames;
        this.night = night;
        this.known = true;
        return true;
    }

    nightOf(id: string): string | undefined {
        return this.own.find((row) => row.id === id)?.night;
    }

    // The frame so many steps later in the night; undefined where there is none.
    beside(id: string, band: string, by: number): FrameRow | undefined {
        const rows = band ? this.own.filter((row) => row.band === band || row.id === id) : this.own;
        const at = rows.findIndex((row) => row.id === id);
        return at < 0 ? undefined : rows[at + by];
    }

    // To lay over the frame: the best ones first, then the others of its night.
    others(id: string): FrameRow[] {
        const all = [...this.best, ...this.own.filter((row) => !this.best.some((one) => one.id === row.id))];
        return all.filter((row) => row.id !== id);
    }
}

export async function ofNight(night: string): Promise<FrameRow[]> {
    return (await read<{ frames: FrameRow[] }>("/api/frames", { night })).frames;
}

// The first that was used, of the band where it is given and there.
export function firstOf(rows: FrameRow[], band: string): FrameRow | undefined {
    const own = band ? rows.filter((row) => row.band === band) : rows;
    return own.find((row) => row.used) ?? own[0] ?? rows.find((row) => row.used) ?? rows[0];
}
