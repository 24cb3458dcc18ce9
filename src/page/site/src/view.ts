// SPDX-License-Identifier: MIT
// What a view is to the page around it.
import type { Address } from "./address";

export interface View {
    // Called when the view is gone to, and again whenever the address changes within it.
    show(state: Address): void;
    // The ledger changed, or everything is to be read anew.
    refresh(): void;
    leave(): void;
    // Its own keys, for the page's list of keys: ["[ ]", "darker, brighter"].
    keys?: readonly (readonly [string, string])[];
    // True where n and p step through the nights (`night` in the address).
    nights?: boolean;
}
// Fills `root`; reads what it needs itself.
export type MakeView = (root: HTMLElement) => View;
