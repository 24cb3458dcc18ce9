// SPDX-License-Identifier: MIT
import type { MakeView } from "../view";

export const report: MakeView = () => ({ show: () => {}, refresh: () => {}, leave: () => {} });
