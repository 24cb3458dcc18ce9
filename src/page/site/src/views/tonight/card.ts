// SPDX-License-Identifier: MIT
// A band of the night: the large number, how far the goal is, and how the number came to be, frame by frame.
import { bandPlace, bandShape } from "../../campaign";
import { Chart } from "../../chart";
import type { ChartData, LineSeries, Point } from "../../chart/marks";
import { h } from "../../dom";
import { sign } from "../../parts";
import { renew } from "../../renew";
import { count, duration, fixed, magnitude, signed, thin, withError } from "../../words";
import { distanceToGoal, goalWords, isOver, keyOf, type FrameOfNight, type Night, type NightOfBand, type RunningPoint } from "./night";

const chartHeight = 200;
const leastSpan = 0.04;

export class Card {
    readonly root = h("section", { class: "card" });
    private readonly words = h("div", { class: "card-words" });
    private readonly chart: Chart;

    constructor(name: string, open: (id: string) => void) {
        const place = h("div", { class: "card-chart" });
        this.root.append(this.words, place);
        this.chart = new Chart(place, { label: `Running magnitude, ${name}`, fileName: `running-${name.replace(" ", "-")}`, folded: true, onPoint: open });
    }

    update(value: NightOfBand, night: Night, instruments: boolean): void {
        renew(this.words, wordsOf(value, night, instruments));
        this.chart.set(runningData(value, night));
    }

    end(): void {
        this.chart.destroy();
        this.root.remove();
    }
}

function wordsOf(value: NightOfBand, night: Night, instruments: boolean): HTMLElement {
    const limit = value.mag === null || value.is_limit;
    const token = `band-${bandPlace(value.band)}`;
    return h(
        "div",
        { class: "card-words" },
        h("h3", {}, sign(bandShape(value.band), token), ` ${value.band}`, instruments && h("span", { class: "unit" }, ` ${value.instrument}`)),
        h(
            "p",
            { class: "big" },
            h("span", { class: "value" }, limit ? `>${thin}${fixed(value.limit_mag, 2)}` : fixed(value.mag)),
            " ",
            h("span", { class: "error" }, limit ? "not seen" : `±${thin}${fixed(value.mag_err)}`),
        ),
        h("p", { class: "goal" }, distanceToGoal(value, night.goal_mag, isOver(night))),
        h("p", { class: "facts" }, facts(value)),
    );
}

function facts(value: NightOfBand): string {
    const refused = value.n_rejected > 0 ? `, ${value.n_rejected} refused` : "";
    const parts = [
        `${count(value.n_frames, "frame")}${refused}`,
        `${duration(value.exposure_s)} of exposure`,
        value.airmass !== null && `airmass ${fixed(value.airmass, 2)}`,
        value.mag_err_random !== null && `±${fixed(value.mag_err_random)} of its own, ±${fixed(value.mag_err_common)} from the comparison stars`,
        count(value.comparison_stars.length, "comparison star"),
        value.check_star.label !== "" && `check star ${value.check_star.label} ${signed(value.check_star.residual)}`,
        value.transformed ? "transformed" : "not transformed",
        value.flags.length > 0 && value.flags.join(", ").replaceAll("-", " "),
    ];
    return parts.filter(Boolean).join(" · ");
}

function runningData(value: NightOfBand, night: Night): ChartData {
    const token = `band-${bandPlace(value.band)}`;
    const own = (one: { band: string; instrument: string }) => keyOf(one) === keyOf(value);
    const running = night.running.find(own)?.points.filter((point) => point.mag !== null) ?? [];
    const frames = night.frames.filter((frame) => own(frame) && frame.mag !== null && !frame.is_limit);
    const used = frames.filter((frame) => frame.used);
    return {
        x: { kind: "date", label: "UTC" },
        panels: [
            {
                name: `${value.band} magnitude`,
                unit: "mag",
                height: chartHeight,
                inverted: true,
                decimals: 3,
                leastSpan,
                points: [
                    { name: "Frames", shape: bandShape(value.band), colour: token, open: true, points: [...used, ...nearby(frames, used)].sort((a, b) => a.jd_utc - b.jd_utc).map(pointOf) },
                ],
                lines: [lineOf(running, token)],
            },
        ],
    };
}

// A refused frame may be far out (a cloud): then it stays in the list, and does not flatten the rest.
function nearby(frames: FrameOfNight[], used: FrameOfNight[]): FrameOfNight[] {
    const mags = used.map((frame) => frame.mag!);
    const [low, high] = [Math.min(...mags), Math.max(...mags)];
    const reach = Math.max(0.1, high - low);
    return frames.filter((frame) => !frame.used && frame.mag! > low - reach && frame.mag! < high + reach);
}

function pointOf(frame: FrameOfNight): Point {
    const refused = frame.used ? "" : ` Refused: ${frame.reason}.`;
    return {
        x: frame.jd_utc,
        y: frame.mag!,
        err: frame.random_err_mag,
        crossed: !frame.used,
        words: `${frame.mid_utc.slice(11, 19)} UTC, ${frame.name}: ${magnitude(frame.mag, frame.random_err_mag)}.${refused}`,
        link: frame.id,
    };
}

function lineOf(running: RunningPoint[], token: string): LineSeries {
    return {
        name: "The night so far, and its error",
        colour: token,
        width: 2,
        x: running.map((point) => point.jd_utc),
        y: running.map((point) => point.mag!),
        low: running.map((point) => point.mag! - (point.err_mag ?? 0)),
        high: running.map((point) => point.mag! + (point.err_mag ?? 0)),
    };
}

// For the name of the tab, and for a screen reader when it changes.
export function inShort(value: NightOfBand): string {
    const limit = value.mag === null || value.is_limit;
    return `${limit ? `> ${fixed(value.limit_mag, 2)}` : withError(value.mag, value.mag_err).replaceAll(thin, " ")} ${value.band}`;
}
export function spoken(value: NightOfBand, night: Night): string {
    const limit = value.mag === null || value.is_limit;
    if (limit) return `${value.band}: not seen, fainter than ${fixed(value.limit_mag, 2)}.`;
    return `${value.band} ${fixed(value.mag)} plus or minus ${fixed(value.mag_err)} from ${count(value.n_frames, "frame")}. ${distanceToGoal(value, night.goal_mag, isOver(night)).replace(goalWords(night.goal_mag), String(night.goal_mag))}`;
}
