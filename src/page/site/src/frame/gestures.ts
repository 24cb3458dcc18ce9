// SPDX-License-Identifier: MIT
// Drag, wheel, pinch and tap on the picture.
import type { XY } from "./affine";

export interface Gestures {
    pan: (right: number, down: number) => void;
    zoom: (factor: number, at: XY) => void;
    tap: (at: XY) => void;
    hover: (at: XY | null) => void;
}

const tapSlack = 5;
const wheelStep = 0.0016;

export function listen(element: HTMLElement, act: Gestures): void {
    const fingers = new Map<number, XY>();
    let moved = false;
    let start: XY = [0, 0];
    const at = (event: MouseEvent): XY => {
        const box = element.getBoundingClientRect();
        return [event.clientX - box.left, event.clientY - box.top];
    };
    element.addEventListener("pointerdown", (event) => {
        if (event.pointerType === "mouse" && event.button !== 0) return;
        element.setPointerCapture(event.pointerId);
        fingers.set(event.pointerId, at(event));
        if (fingers.size === 1) {
            moved = false;
            start = at(event);
        } else moved = true;
    });
    element.addEventListener("pointermove", (event) => {
        const now = at(event);
        const before = fingers.get(event.pointerId);
        if (!before) {
            if (event.pointerType === "mouse") act.hover(now);
            return;
        }
        if (!moved && Math.hypot(now[0] - start[0], now[1] - start[1]) < tapSlack) return;
        if (fingers.size === 2) pinch(event.pointerId, before, now);
        else act.pan(now[0] - before[0], now[1] - before[1]);
        moved = true;
        fingers.set(event.pointerId, now);
    });
    const pinch = (id: number, before: XY, now: XY) => {
        const other = [...fingers].find(([one]) => one !== id)?.[1];
        if (!other) return;
        const length = Math.hypot(before[0] - other[0], before[1] - other[1]);
        const next = Math.hypot(now[0] - other[0], now[1] - other[1]);
        if (length > 8 && next > 8) act.zoom(next / length, other);
        act.pan((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    };
    const lift = (event: PointerEvent) => {
        if (!fingers.delete(event.pointerId)) return;
        if (!moved && event.type === "pointerup") act.tap(at(event));
    };
    element.addEventListener("pointerup", lift);
    element.addEventListener("pointercancel", lift);
    element.addEventListener("pointerleave", () => act.hover(null));
    element.addEventListener(
        "wheel",
        (event) => {
            event.preventDefault();
            const lines = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? 33 : 1;
            const delta = Math.min(Math.max(event.deltaY * lines, -240), 240);
            act.zoom(Math.exp(-delta * wheelStep * (event.ctrlKey ? 4 : 1)), at(event));
        },
        { passive: false },
    );
}
