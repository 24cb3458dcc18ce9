// SPDX-License-Identifier: MIT
// tasks/documents — outcomes as JSON: what `--json` prints and what the page reads.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "tasks/audit_sequence.hpp"
#include "tasks/build_sequence.hpp"
#include "tasks/curve.hpp"
#include "tasks/curve_course.hpp"
#include "tasks/forecast.hpp"
#include "tasks/frame_view.hpp"
#include "tasks/host_rows.hpp"
#include "tasks/inspect.hpp"
#include "tasks/look.hpp"
#include "tasks/measure.hpp"
#include "tasks/nights.hpp"
#include "tasks/report_text.hpp"
#include "tasks/solve_frames.hpp"
#include "tasks/stack.hpp"
#include "tasks/star_course.hpp"
#include "tasks/take_back_report.hpp"
#include "tasks/transform.hpp"
#include "tasks/transient_place.hpp"
#include "tasks/try_set_aside.hpp"
#include "tasks/watch.hpp"

namespace emberline::tasks {

using Json = nlohmann::ordered_json;

[[nodiscard]] Json document(const Problem& problem);
[[nodiscard]] Json document(const night::NightMeasurement& night);
[[nodiscard]] Json document(const night::FrameMeasurement& frame);
[[nodiscard]] Json document(const MeasureOutcome& outcome);
[[nodiscard]] Json document(const NightsOutcome& outcome);
[[nodiscard]] Json document(const NightFrames& frames);
[[nodiscard]] Json document(const NightCourse& course);
[[nodiscard]] Json document(const PlacesOutcome& places);
[[nodiscard]] Json document(const CurveOutcome& outcome);  // design: contract
[[nodiscard]] Json document(const CurveCourse& course);
[[nodiscard]] Json document(const IntervalRate& rate);
[[nodiscard]] Json document(const ForecastOutcome& outcome);
[[nodiscard]] Json document(const std::vector<InspectedFile>& files);
[[nodiscard]] Json document(const Explanation& explanation);
[[nodiscard]] Json document(const SolveOutcome& outcome);
[[nodiscard]] Json document(const StackOutcome& outcome);
[[nodiscard]] Json document(const AuditOutcome& outcome);
[[nodiscard]] Json document(const BuildOutcome& outcome);
[[nodiscard]] Json document(const TransformOutcome& outcome);
[[nodiscard]] Json document(const std::vector<ledger::KeptTransformation>& terms);
[[nodiscard]] Json document(const std::vector<RunningNight>& running);
[[nodiscard]] Json document(const WatchEvent& event);
[[nodiscard]] Json document(const LookedStar& star);
[[nodiscard]] Json document(const HostRows& rows);
[[nodiscard]] Json document(const StarCourses& courses);                            // by nights
[[nodiscard]] Json document(const StarCourses& courses, const StarCourse& course);  // one star, by frames
[[nodiscard]] Json document(const TriedSetAside& tried);
// Of a dry run: what would go out, line by line.
[[nodiscard]] Json document(const ReportRequest& request, const ReportOutcome& outcome);
[[nodiscard]] Json document(const TakenBackReport& taken_back);
[[nodiscard]] Json document(const FrameView& view);
[[nodiscard]] Json document(const std::vector<ledger::ListedFrame>& frames);

}  // namespace emberline::tasks
