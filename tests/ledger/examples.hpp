// SPDX-License-Identifier: MIT
// Invented fluxes and measurements in which every field differs from its default and from its neighbours, so
// that a column left out or swapped shows.
#pragma once

#include <cstdint>
#include <string>

#include "ledger/ledger.hpp"
#include "temporary_folder.hpp"

namespace emberline::ledger::testing {

[[nodiscard]] Band band(std::string_view name);
// The same beside a host; with a template: its difference and light too.
[[nodiscard]] photometry::FrameFluxes with_host(photometry::FrameFluxes frame, bool by_template);
[[nodiscard]] photometry::FrameFluxes frame_fluxes(int number, int stars = 4, int apertures = 3);
[[nodiscard]] night::FrameMeasurement frame_measurement(int number);
[[nodiscard]] night::NightMeasurement night_measurement(int number);
[[nodiscard]] StarVerdict star_verdict(int number);
[[nodiscard]] KeptPlate kept_plate(int number);
[[nodiscard]] night::FieldReference field_reference(int stars);
[[nodiscard]] Solution solution(int frames, int nights, int stars);
[[nodiscard]] bool same(const Solution& a, const Solution& b);
[[nodiscard]] Provenance provenance(std::string settings = "annulus 4 7");

// Anybody may enter it.
class Folder : public test::TemporaryFolder {
  public:
    Folder();
    [[nodiscard]] std::string file(const std::string& name = "campaign.ledger") const { return path(name); }
};

[[nodiscard]] Ledger opened(const std::string& path, Ledger::Access access = Ledger::Access::write,
                            double wait_s = 30.0);
[[nodiscard]] std::string contents(const std::string& path);  // empty where there is no file
void write_contents(const std::string& path, const std::string& bytes);
// Behind the ledger's back, as an observer with SQLite's shell would.
[[nodiscard]] std::int64_t ask(const std::string& path, const std::string& sql);
void tell(const std::string& path, const std::string& sql);

}  // namespace emberline::ledger::testing
