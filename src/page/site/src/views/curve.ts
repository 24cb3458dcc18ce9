// SPDX-License-Identifier: MIT
// The light curve: points, fits and what is left over; the rate of an interval that is picked; the coming nights.
import { address, go } from "../address";
import { read } from "../api";
import { campaign } from "../campaign";
import { Chart, civil, type Range } from "../chart";
import { h, replace } from "../dom";
import { command, empty, loading, trouble } from "../parts";
import type { MakeView, View } from "../view";
import type { Curve, Forecast, NightRow, RateAnswer } from "./curve/answers";
import { Controls } from "./curve/controls";
import { bandsOf, chartData, type Drawn } from "./curve/drawing";
import { showExports } from "./curve/exports";
import { figuresTable, modelsTable, reasons } from "./curve/figures";
import { showForecast } from "./curve/forecast_panel";
import { RatePanel } from "./curve/rate_panel";
import { intervalPatch, rangeWords, rounded, shownBands, stateOf, type CurveState } from "./curve/state";
import "./curve.css";

export const curve: MakeView = (root) => new CurveView(root);

const addressMs = 250;
const suggestedDays = 15;

type ForecastField = "first" | "ahead" | "goal";

class CurveView implements View {
    readonly keys = [
        ["← →", "on the chart: point by point"],
        ["+ − 0", "on the chart: zoom, show all"],
        ["Enter", "on a point: its night"],
    ] as const;

    readonly #controls = new Controls();
    readonly #status = h("p", { class: "curve-status", role: "status" });
    readonly #trouble = h("div");
    readonly #place = h("div", { class: "curve-chart" }, loading("Reading the light curve", 6));
    readonly #figures = h("section", { class: "figures", "aria-labelledby": "figures-title" });
    readonly #forecast = h("section", { class: "forecast", "aria-labelledby": "forecast-title", hidden: true });
    readonly #exports = h("section", { class: "exports", "aria-labelledby": "export-title" });
    readonly #rate: RatePanel;
    #chart: Chart | null = null;
    #state: CurveState = stateOf(address());
    #drawn: Drawn = { curve: null, nights: [], rates: [], forecast: null };
    #asked = ""; // which fit is drawn, or on its way
    #askedForecast = "";
    #reading: AbortController | null = null;
    #waiting = 0;
    #gone = false; // an answer may still come

    constructor(root: HTMLElement) {
        this.#rate = new RatePanel(
            (range) => this.#pick(range),
            () => this.#lastDays(),
            (rates) => this.#rated(rates),
        );
        this.#controls.root.append(this.#status);
        root.append(
            this.#controls.root,
            this.#trouble,
            this.#place,
            h("div", { class: "curve-below" }, h("div", { class: "curve-side" }, this.#rate.root, this.#exports), this.#figures),
            this.#forecast,
        );
    }

    show(): void {
        this.#state = stateOf(address());
        const asked = JSON.stringify(this.#query());
        if (asked !== this.#asked) void this.#read(asked);
        this.#readForecast();
        this.#draw();
    }

    refresh(): void {
        void this.#read(this.#asked);
        this.#askedForecast = "";
        this.#readForecast();
        this.#rate.again();
    }

    leave(): void {
        this.#reading?.abort();
        clearTimeout(this.#waiting);
        this.#chart?.destroy();
        this.#chart = null;
        this.#gone = true;
    }

    #query(): { from: string; to: string; model: string } {
        return { from: this.#state.fitFrom, to: this.#state.fitTo, model: this.#state.model };
    }

    // Fits of a long campaign take their time: the nights are drawn until they are there.
    async #read(asked: string): Promise<void> {
        this.#asked = asked;
        this.#reading?.abort();
        const reading = new AbortController();
        this.#reading = reading;
        this.#status.textContent = "Fitting…";
        this.#place.setAttribute("aria-busy", "true");
        if (!this.#drawn.curve) void this.#readNights(reading);
        try {
            const given = await read<Curve>("/api/curve", this.#query(), reading.signal);
            this.#drawn.curve = given;
            this.#status.textContent = "";
            replace(this.#trouble);
        } catch (error) {
            if (reading.signal.aborted) return;
            this.#status.textContent = "";
            replace(this.#trouble, trouble(error, () => void this.#read(this.#asked)));
            if (!this.#chart) replace(this.#place);
        }
        this.#place.removeAttribute("aria-busy");
        this.#draw();
    }

    async #readNights(reading: AbortController): Promise<void> {
        try {
            const { nights } = await read<{ nights: NightRow[] }>("/api/nights", {}, reading.signal);
            if (this.#drawn.curve || reading.signal.aborted) return;
            this.#drawn.nights = nights;
            this.#draw();
        } catch {
            // The curve's own answer says what is wrong.
        }
    }

    #readForecast(): void {
        const { forecast, goal, first, ahead } = this.#state;
        this.#forecast.hidden = !forecast;
        if (!forecast) {
            this.#askedForecast = "";
            this.#drawn.forecast = null;
            return;
        }
        const asked = `${goal} ${first} ${ahead}`;
        if (asked === this.#askedForecast) return;
        this.#askedForecast = asked;
        const place = this.#forecastFrame();
        read<Forecast>("/api/forecast", { goal_mag: goal, nights: ahead, from: first })
            .then((given) => {
                if (asked !== this.#askedForecast) return;
                this.#drawn.forecast = given;
                place.removeAttribute("aria-busy");
                this.#draw();
            })
            .catch((error: unknown) => {
                place.removeAttribute("aria-busy");
                replace(place, trouble(error));
            });
    }

    // Made once: its fields keep the focus.
    #forecastFrame(): HTMLElement {
        const made = this.#forecast.querySelector<HTMLElement>(".forecast-place") ?? this.#makeForecast();
        this.#forecast.querySelectorAll("input").forEach((input) => (input.value = this.#state[input.name as ForecastField]));
        made.setAttribute("aria-busy", "true");
        if (!this.#drawn.forecast) replace(made, h("p", { role: "status" }, "Working out the coming nights…"));
        return made;
    }

    #makeForecast(): HTMLElement {
        const field = (words: string, name: ForecastField, usual: string, kind: Record<string, string>) => {
            const input = h("input", { ...kind, name, placeholder: usual, onchange: () => input.checkValidity() && go({ [name]: input.value || null }) });
            return h("label", { class: "field" }, h("span", {}, words), input);
        };
        const number = (least: string, most: string) => ({ type: "number", min: least, max: most, step: least });
        const place = h("div", { class: "forecast-place" });
        replace(
            this.#forecast,
            h("h2", { id: "forecast-title" }, "Forecast"),
            h(
                "div",
                { class: "control-row" },
                field("First night", "first", "tonight", { type: "text", pattern: "\\d{4}-\\d{2}-\\d{2}", title: "2024-03-18" }),
                field("Nights", "ahead", "30", number("1", "400")),
                field("Wanted error, mag", "goal", "0.050", number("0.001", "2")),
            ),
            place,
        );
        return place;
    }

    #draw(): void {
        if (this.#gone) return;
        const bands = bandsOf(this.#drawn);
        const shown = shownBands(this.#state, bands);
        this.#controls.show(this.#state, bands, this.#drawn.curve);
        if (bands.length > 0) {
            this.#drawChart(shown);
            this.#rate.show(this.#state.interval && rounded(this.#state.interval), shown);
            showExports(this.#exports, this.#state, shown);
        } else if (this.#drawn.curve) {
            replace(this.#place, empty("No night is measured yet.", h("p", {}, "Measure frames, and the curve begins here: ", command("emberline measure"))));
        }
        const given = this.#drawn.curve;
        if (given && bands.length > 0)
            replace(
                this.#figures,
                h("h2", { id: "figures-title" }, "Figures"),
                reasons(given, shown),
                figuresTable(given, shown),
                modelsTable(given, shown),
                h("p", { class: "hint" }, "The same from a terminal: ", command(given.command)),
            );
        const place = this.#forecast.querySelector<HTMLElement>(".forecast-place");
        if (this.#drawn.forecast && place) showForecast(place, this.#drawn.forecast, shown);
    }

    #drawChart(shown: string[]): void {
        if (!this.#chart) {
            replace(this.#place);
            this.#chart = this.#makeChart();
        }
        this.#chart.set(chartData(this.#drawn, this.#state));
        this.#chart.zoom(this.#state.zoom, false);
        this.#chart.setInterval(this.#state.interval);
        this.#place.dataset["bands"] = shown.join(",");
    }

    #makeChart(): Chart {
        return new Chart(this.#place, {
            label: "Light curve",
            fileName: "light-curve",
            title: () => `${campaign()?.title ?? "Light curve"}, light curve`,
            empty: "No point lies in these bands and dates.",
            openWords: "Open its night",
            onPoint: (link) => {
                const [night, band] = link.split(" ");
                go({ view: "tonight", night, band }, { fresh: true });
            },
            onZoom: (range) => this.#soon({ zoom: rangeWords(range) }),
            interval: {
                label: "Interval of the rate",
                step: 1,
                words: (jd) => `${civil(jd)} UTC, BJD ${jd.toFixed(3)}`,
                onChange: (range, done) => {
                    if (done) this.#pick(range);
                    else if (range) this.#rate.dragged(range);
                },
            },
        });
    }

    // A drag or a held key makes many small steps; the address gets the last of them.
    #soon(patch: Record<string, string | null>): void {
        clearTimeout(this.#waiting);
        this.#waiting = window.setTimeout(() => go(patch, { replace: true }), addressMs);
    }

    #pick(range: Range | null): void {
        go(intervalPatch(range), { replace: true });
    }

    #lastDays(): Range | null {
        const points = Object.values(this.#drawn.curve?.points ?? {}).flat();
        const last = Math.max(...points.filter((point) => !point.is_limit).map((point) => point.bjd_tdb));
        return Number.isFinite(last) ? [last - suggestedDays, last + 0.5] : null;
    }

    #rated(rates: RateAnswer[]): void {
        this.#drawn.rates = rates;
        this.#chart?.set(chartData(this.#drawn, this.#state));
    }
}
