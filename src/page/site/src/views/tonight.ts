// SPDX-License-Identifier: MIT
import type { MakeView } from "../view";

export const tonight: MakeView = () => ({ show: () => {}, refresh: () => {}, leave: () => {} });
