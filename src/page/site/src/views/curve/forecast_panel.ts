// SPDX-License-Identifier: MIT
// The coming nights: how bright, how dark, how many exposures.
import { civilDay } from "../../chart";
import { h, replace } from "../../dom";
import { command, table, type Column } from "../../parts";
import { fixed, thin } from "../../words";
import type { Forecast, ForecastBandNight } from "./answers";
import { worstDrawnMag } from "./drawing";
import { bandSign } from "./figures";

type Night = Forecast["nights"][number];

export function showForecast(place: HTMLElement, forecast: Forecast, bands: string[]): void {
    const shown = bands.filter((band) => forecast.bands[band]);
    const ahead = new Map(shown.map((band) => [band, new Map(forecast.bands[band]!.nights.map((one) => [one.night, one]))]));
    const columns: Column<Night>[] = [
        { name: "Night", cell: (row) => row.night },
        { name: "Observable", unit: "h", number: true, cell: ({ sky }) => (sky ? fixed(sky.observable_h, 1) : "–") },
        { name: "Without Moon", unit: "h", number: true, cell: ({ sky }) => (sky ? fixed(sky.moonless_h, 1) : "–") },
        { name: "Best, UTC", number: true, cell: ({ sky }) => sky?.best_utc?.slice(11, 16) ?? "–" },
        { name: "Airmass", number: true, cell: ({ sky }) => fixed(sky?.best_airmass, 2) },
        { name: "Moon", cell: ({ sky }) => (sky ? moonWords(sky) : "–") },
        ...shown.flatMap((band): Column<Night>[] => [
            { name: band, unit: "mag", number: true, cell: (row) => magWords(ahead.get(band)?.get(row.night)) },
            { name: `${band} exposures`, number: true, cell: (row) => exposureWords(ahead.get(band)?.get(row.night)) },
        ]),
    ];
    const notes = shown.flatMap((band) => notesOf(band, forecast));
    replace(
        place,
        h("p", { class: "hint" }, `± is one sigma. Exposures reach ±${thin}${fixed(forecast.goal_mag, 3)}${thin}mag; observable is dark and above ${fixed(forecast.least_altitude_deg, 0)}°.`),
        notes.length > 0 && h("ul", { class: "reasons" }, ...notes),
        h("div", { class: "forecast-table" }, table("The coming nights", columns, forecast.nights, { headed: true, rowKey: (row) => row.night })),
        ...forecast.remarks.map((words) => h("p", { class: "hint" }, words)),
        h("p", {}, command(forecast.command)),
    );
}

function moonWords(sky: NonNullable<Night["sky"]>): string {
    const near = sky.near_sun ? ", near the Sun" : "";
    return `${Math.round(100 * sky.moon_illuminated)}${thin}%, ${sky.moon_altitude_deg > 0 ? `up, ${Math.round(sky.moon_distance_deg)}° away` : "down"}${near}`;
}

function magWords(night: ForecastBandNight | undefined): string {
    if (!night) return "–";
    return `${fixed(night.mag, 2)}${thin}±${thin}${fixed((night.high_mag - night.low_mag) / 2, 2)}`;
}

function exposureWords(night: ForecastBandNight | undefined): string {
    const exposure = night?.exposure;
    if (!exposure) return "–";
    if (exposure.exposures === null) return "out of reach";
    if (!exposure.within_night) return "more than the night";
    return `${exposure.exposures} × ${fixed(exposure.exposure_s, 0)}${thin}s`;
}

function notesOf(band: string, forecast: Forecast): HTMLElement[] {
    const outlook = forecast.bands[band]!;
    const words: string[] = [];
    if (outlook.problem) words.push(`${outlook.problem.what} ${outlook.problem.mend}`);
    if (outlook.nights.some((night) => (night.high_mag - night.low_mag) / 2 > worstDrawnMag))
        words.push(`nights less sure than ±${fixed(worstDrawnMag, 1)} mag are in the table and not on the chart.`);
    for (const pass of outlook.passes) {
        if (pass.bjd_tdb === null || pass.already) continue;
        const what = pass.is_depth ? `what your frames reach (${fixed(pass.mag, 1)} mag)` : `${fixed(pass.mag, 1)} mag`;
        const late = pass.high_bjd_tdb ? ` to ${civilDay(pass.high_bjd_tdb)}` : " or much later";
        const early = pass.low_bjd_tdb ? ` (${civilDay(pass.low_bjd_tdb)}${late})` : "";
        words.push(`passes ${what} about ${civilDay(pass.bjd_tdb)}${early}.`);
    }
    return words.map((one) => h("li", {}, bandSign(band), " ", h("strong", {}, band), ` ${one}`));
}
