// SPDX-License-Identifier: MIT
// Which point is meant: the nearest to the pointer, or the next one along the keyboard's way.
import type { Panel, Point, Range } from "./marks";
import { xOn, yOn, type Place } from "./paint";

export interface Found {
    panel: number;
    series: number;
    point: Point;
}

// Of one panel, within `reach` CSS pixels; the place is in canvas pixels, as is (x, y).
export function nearest(panel: Panel, which: number, place: Place, x: number, y: number, reach: number): Found | null {
    let best: Found | null = null;
    let least = (reach * place.unit) ** 2;
    panel.points.forEach((series, i) => {
        for (const point of series.points) {
            const dx = xOn(place, point.x) - x;
            if (dx * dx > least) continue;
            const dy = yOn(place, point.y) - y;
            const far = dx * dx + dy * dy;
            if (far < least) {
                least = far;
                best = { panel: which, series: i, point };
            }
        }
    });
    return best;
}

export type Way = "previous" | "next" | "first" | "last" | "up" | "down";

// Along x within the series; up and down go to the point of another series that is nearest in x, panel by panel.
export function step(panels: readonly Panel[], from: Found | null, way: Way, range: Range): Found | null {
    const rows = panels.flatMap((panel, p) =>
        panel.points.map((series, s) => ({ panel: p, series: s, points: sorted(series.points).filter((one) => one.x >= range[0] && one.x <= range[1]) })),
    );
    const full = rows.filter((row) => row.points.length > 0);
    if (full.length === 0) return null;
    const here = from ? full.findIndex((row) => row.panel === from.panel && row.series === from.series) : -1;
    const row = full[Math.max(0, here)]!;
    const at = from && here >= 0 ? row.points.indexOf(from.point) : -1;
    if (way === "up" || way === "down") {
        const other = full[(Math.max(0, here) + (way === "up" ? full.length - 1 : 1)) % full.length]!;
        const x = from?.point.x ?? range[0];
        const point = other.points.reduce((best, one) => (Math.abs(one.x - x) < Math.abs(best.x - x) ? one : best));
        return { panel: other.panel, series: other.series, point };
    }
    const last = row.points.length - 1;
    const wanted = way === "first" ? 0 : way === "last" ? last : at < 0 ? (way === "next" ? 0 : last) : at + (way === "next" ? 1 : -1);
    return { panel: row.panel, series: row.series, point: row.points[Math.min(last, Math.max(0, wanted))]! };
}

const orders = new WeakMap<Point[], Point[]>();
function sorted(points: Point[]): Point[] {
    let order = orders.get(points);
    if (!order) {
        order = [...points].sort((a, b) => a.x - b.x);
        orders.set(points, order);
    }
    return order;
}
