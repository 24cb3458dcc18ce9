// SPDX-License-Identifier: MIT
// What `stack --json` prints.
#include "tasks/documents.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {
namespace {

Json value(const std::optional<ValueWithError>& v) {
    if (!v) return nullptr;
    return {{"magnitude_mag", v->value}, {"random_err_mag", v->err}};
}

}  // namespace

Json document(const StackOutcome& outcome) {
    Json stacks = Json::array();
    for (const StackedBand& band : outcome.bands) {
        Json members = Json::array(), left_out = Json::array();
        for (const night::StackMember& m : band.members) {
            members.push_back({{"frame", m.path},
                               {"fingerprint", m.fingerprint},
                               {"weight", m.weight},
                               {"transparency", m.transparency},
                               {"fwhm_arcsec", m.fwhm_arcsec}});
        }
        for (const LeftOut& one : band.left_out)
            left_out.push_back({{"frame", one.path}, {"problem", document(one.problem)}});
        stacks.push_back({{"night", band.night},
                          {"band", band.band.name()},
                          {"stack", band.path},
                          {"frames", std::move(members)},
                          {"left_out", std::move(left_out)},
                          {"clipped_pixels", band.clipped_pixels},
                          {"fwhm_arcsec", band.fwhm_arcsec},
                          {"exposure_s", band.exposure_s},
                          {"by_stack", value(band.stack_mag)},
                          {"by_frames", value(band.frames_mag)},
                          {"stack_limit_mag", maybe(band.stack_limit_mag)},
                          {"frames_limit_mag", maybe(band.frames_limit_mag)},
                          {"stack_chosen", band.stack_chosen},
                          {"advice", band.advice}});
    }
    Json refused = Json::array();
    for (const Problem& problem : outcome.refused)
        refused.push_back(document(problem));
    return {{"stacks", std::move(stacks)},
            {"refused", std::move(refused)},
            {"remarks", outcome.remarks},
            {"interrupted", outcome.interrupted}};
}

}  // namespace emberline::tasks
