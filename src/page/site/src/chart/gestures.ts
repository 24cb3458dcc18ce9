// SPDX-License-Identifier: MIT
// Mouse, pen and fingers on the plots. A mouse's drag marks a stretch of x; one finger moves the view along and two
// widen or narrow it; up and down always scroll the page.
import { h } from "../dom";

export interface GestureTarget {
    left(): number; // of the plotting area, client pixels
    width(): number;
    picking(): boolean; // a drag marks an interval, with fingers too
    marked(from: number, to: number): void; // shares of the width
    pan(share: number): void;
    zoom(share: number, factor: number): void; // about a share of the width; factor > 1 narrows
    hover(clientX: number, clientY: number, touch: boolean): void;
    leave(): void;
    tap(clientX: number, clientY: number): void;
    all(): void;
}

const leastDrag = 6;

export function listen(area: HTMLElement, target: GestureTarget): void {
    const selection = h("div", { class: "chart-select", hidden: true });
    area.append(selection);
    const fingers = new Map<number, { x: number; y: number }>();
    let start: { x: number; y: number; last: number } | null = null;
    let dragged = false;

    const share = (clientX: number) => Math.min(1, Math.max(0, (clientX - target.left()) / target.width()));
    const draw = (from: number, to: number) => {
        selection.hidden = false;
        selection.style.left = `${100 * Math.min(from, to)}%`;
        selection.style.width = `${100 * Math.abs(to - from)}%`;
    };
    const stop = () => {
        selection.hidden = true;
        start = null;
    };

    area.addEventListener("pointerdown", (event) => {
        if (event.button !== 0) return;
        fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
        dragged = false;
        if (fingers.size > 1) {
            stop();
            return;
        }
        start = { x: event.clientX, y: event.clientY, last: event.clientX };
    });
    area.addEventListener("pointermove", (event) => {
        const finger = fingers.get(event.pointerId);
        if (finger && fingers.size === 2) {
            pinch(event, finger);
            return;
        }
        if (!start) {
            target.hover(event.clientX, event.clientY, event.pointerType === "touch");
            return;
        }
        if (!dragged && Math.abs(event.clientX - start.x) < leastDrag) return;
        if (!dragged) area.setPointerCapture(event.pointerId);
        dragged = true;
        if (event.pointerType === "touch" && !target.picking()) target.pan((start.last - event.clientX) / target.width());
        else draw(share(start.x), share(event.clientX));
        start.last = event.clientX;
    });
    const pinch = (event: PointerEvent, finger: { x: number; y: number }) => {
        const other = [...fingers.entries()].find(([id]) => id !== event.pointerId)?.[1];
        if (!other) return;
        const before = Math.hypot(finger.x - other.x, finger.y - other.y);
        finger.x = event.clientX;
        finger.y = event.clientY;
        const after = Math.hypot(finger.x - other.x, finger.y - other.y);
        dragged = true;
        if (before > 10 && after > 10) target.zoom(share((finger.x + other.x) / 2), after / before);
    };
    const end = (event: PointerEvent) => {
        fingers.delete(event.pointerId);
        const from = start;
        stop();
        if (!from || event.type !== "pointerup") return;
        if (!dragged) target.tap(event.clientX, event.clientY);
        else if (event.pointerType !== "touch" || target.picking()) target.marked(share(from.x), share(event.clientX));
    };
    area.addEventListener("pointerup", end);
    area.addEventListener("pointercancel", end);
    area.addEventListener("pointerleave", (event) => {
        if (event.pointerType === "mouse") target.leave();
    });
    area.addEventListener("dblclick", () => target.all());
    // The wheel scrolls the page; with Ctrl (which a pad's pinch sends too) it zooms.
    area.addEventListener(
        "wheel",
        (event) => {
            if (!event.ctrlKey) return;
            event.preventDefault();
            target.zoom(share(event.clientX), Math.exp(-event.deltaY / 300));
        },
        { passive: false },
    );
}
