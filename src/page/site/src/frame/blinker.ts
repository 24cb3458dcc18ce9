// SPDX-License-Identifier: MIT
// Which part of the picture the other frame takes now. Blinking is slow: a change every 0.7 s makes less than one flash
// a second, far below the three of WCAG 2.3.1, and none where the system asks for little motion.
import type { Blink } from "./state";

const changeMs = 700;

export class Blinker {
    private readonly motion = matchMedia("(prefers-reduced-motion: reduce)");
    private mode: Blink | null = null; // null: there is no other frame
    private wipe = 0.5;
    private held = false;
    private on = false;
    private timer = 0;

    constructor(private readonly show: (share: number) => void) {}

    get still(): boolean {
        return this.motion.matches;
    }

    set(mode: Blink | null, wipe: number): void {
        const auto = mode === "auto" && !this.still;
        this.mode = mode;
        this.wipe = wipe;
        if (!auto) {
            clearInterval(this.timer);
            this.timer = 0;
            this.on = false;
        } else if (!this.timer) {
            this.timer = window.setInterval(() => {
                this.on = !this.on;
                this.tell();
            }, changeMs);
        }
        this.tell();
    }

    hold(on: boolean): void {
        if (this.held === on) return;
        this.held = on;
        this.tell();
    }

    close(): void {
        clearInterval(this.timer);
    }

    private tell(): void {
        if (this.mode === null) this.show(0);
        else if (this.held) this.show(1);
        else if (this.mode === "wipe") this.show(1 - this.wipe);
        else this.show(this.on ? 1 : 0);
    }
}
