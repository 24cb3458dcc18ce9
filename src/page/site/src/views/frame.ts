// SPDX-License-Identifier: MIT
import type { MakeView } from "../view";

export const frame: MakeView = () => ({ show: () => {}, refresh: () => {}, leave: () => {} });
