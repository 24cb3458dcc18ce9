// SPDX-License-Identifier: MIT
// Julian dates as people read them, and where an axis of time has its ticks.

export type XKind = "date" | "jd" | "days" | "plain";
export interface XAxis {
    kind: XKind;
    label: string; // with its unit: "BJD (TDB)", "UTC date", "Days since maximum"
    zero?: number; // of "days": the Julian date that counts as 0
}

const unixEpochJd = 2440587.5;
const dayMs = 86_400_000;
const months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

export function dateOfJd(jd: number): Date {
    return new Date(Math.round((jd - unixEpochJd) * dayMs));
}
export function jdOfDate(date: Date): number {
    return date.getTime() / dayMs + unixEpochJd;
}

// "2024-03-18 21:04", to the minute.
export function civil(jd: number): string {
    const date = dateOfJd(jd);
    return Number.isNaN(date.getTime()) ? "–" : date.toISOString().slice(0, 16).replace("T", " ");
}
export function civilDay(jd: number): string {
    return civil(jd).slice(0, 10);
}

// What somebody typed: "2024-03-18", "2024-03-18 21:04", "2460388.4"; null where it is neither.
export function typedJd(text: string): number | null {
    const words = text.trim();
    const date = /^(\d{4}-\d{2}-\d{2})(?:[T ](\d{2}:\d{2}(?::\d{2})?))?Z?$/.exec(words);
    if (date) {
        const time = date[2] ?? "00:00";
        const at = Date.parse(`${date[1]}T${time.length === 5 ? `${time}:00` : time}Z`);
        return Number.isNaN(at) ? null : at / dayMs + unixEpochJd;
    }
    const number = /^\d{7}(?:\.\d+)?$/.test(words) ? Number(words) : NaN;
    return Number.isFinite(number) ? number : null;
}

// The step of 1, 2 or 5 times a power of ten that leaves about `count` ticks.
export function roundStep(span: number, count: number): number {
    const raw = span / Math.max(1, count);
    const power = 10 ** Math.floor(Math.log10(raw));
    const lead = raw / power;
    return power * (lead <= 1 ? 1 : lead <= 2 ? 2 : lead <= 5 ? 5 : 10);
}

export function multiples(from: number, to: number, step: number, zero = 0): number[] {
    const ticks: number[] = [];
    for (let k = Math.ceil((from - zero) / step - 1e-9); zero + k * step <= to + step * 1e-9; k += 1) ticks.push(zero + k * step);
    return ticks;
}

export function decimalsOf(step: number): number {
    return Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
}

export function plain(value: number, decimals: number): string {
    const text = Math.abs(value).toFixed(decimals);
    return value < 0 && Number(text) !== 0 ? `−${text}` : text;
}

const minute = 1 / 1440;
const hour = 1 / 24;
const clockSteps = [minute, 2 * minute, 5 * minute, 10 * minute, 15 * minute, 30 * minute, hour, 2 * hour, 3 * hour, 6 * hour, 12 * hour];
const daySteps = [1, 2, 4, 7, 14];
const monthSteps = [1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200];
const monthDays = 30.44;

export interface Ticks {
    at: number[];
    words: string[]; // two rows, parted by a line break, on an axis of dates
}

export function xTicks(axis: XAxis, from: number, to: number, count: number): Ticks {
    if (axis.kind === "date") return dateTicks(from, to, count);
    const step = roundStep(to - from, count);
    const zero = axis.kind === "days" ? (axis.zero ?? 0) : 0;
    const at = multiples(from, to, step, zero);
    const decimals = decimalsOf(step);
    const words = at.map((x) => {
        const text = plain(x - zero, decimals);
        return axis.kind === "days" && x - zero > step / 2 ? `+${text}` : text;
    });
    return { at, words };
}

function dateTicks(from: number, to: number, count: number): Ticks {
    const raw = (to - from) / Math.max(1, count);
    const clock = clockSteps.find((step) => step >= raw);
    if (clock) return clockTicks(from, to, clock);
    const days = daySteps.find((step) => step >= raw);
    const at = days ? multiples(from, to, days, unixEpochJd) : monthTicks(from, to, raw / monthDays);
    let year = -1;
    const words = at.map((jd) => {
        const date = dateOfJd(jd);
        const fresh = date.getUTCFullYear() !== year;
        year = date.getUTCFullYear();
        const day = `${date.getUTCDate()} ${months[date.getUTCMonth()]}`;
        return `${fresh ? `${day} ${year}` : day}\n${jd.toFixed(1)}`;
    });
    return { at, words };
}

function clockTicks(from: number, to: number, step: number): Ticks {
    const at = multiples(from, to, step, unixEpochJd + Math.floor(from - unixEpochJd));
    let day = "";
    const words = at.map((jd) => {
        const date = dateOfJd(jd);
        const today = `${date.getUTCDate()} ${months[date.getUTCMonth()]}`;
        const clock = date.toISOString().slice(11, 16);
        const first = today === day ? clock : `${today} ${clock}`;
        day = today;
        return `${first}\n${jd.toFixed(step < hour ? 3 : 2)}`;
    });
    return { at, words };
}

function monthTicks(from: number, to: number, rawMonths: number): number[] {
    const step = monthSteps.find((one) => one >= rawMonths) ?? monthSteps.at(-1)!;
    const start = dateOfJd(from);
    let month = Math.floor((start.getUTCFullYear() * 12 + start.getUTCMonth()) / step) * step;
    const at: number[] = [];
    for (;;) {
        const jd = jdOfDate(new Date(Date.UTC(Math.floor(month / 12), month % 12, 1)));
        if (jd > to) return at;
        if (jd >= from) at.push(jd);
        month += step;
    }
}
