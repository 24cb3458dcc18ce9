// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include "exchange/server_fields.hpp"
#include "exchange/server_formats.hpp"
#include "exchange/server_report.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

Result<void> first_error(Findings findings) {
    for (const Finding& finding : std::move(findings).take()) {
        if (!finding.error) continue;
        return fail({.what = finding.what,
                     .where = "server report, " + finding.field,
                     .mend = "Mend it in the ledger's night or under [report.server] of campaign.toml.",
                     .kind = ProblemKind::request});
    }
    return {};
}

}  // namespace

Result<void> proofread(const ServerReport& report) {
    Findings findings;
    ServerReader reader(findings);
    for (const ServerField& field : fields_of(report))
        reader.set(field.key, field.value, 0);
    // The points follow one by one; the first shows that there is one.
    if (!report.photometry.empty()) {
        reader.begin_point("photometry.0.", 0);
        for (const ServerField& field : fields_of(report.photometry.front()))
            reader.set_point(field.key, field.value);
        reader.end_point();
    }
    reader.finish();
    return first_error(std::move(findings));
}

Result<void> proofread_point(const std::vector<ServerField>& fields, std::size_t number) {
    Findings findings;
    ServerReader reader(findings);
    reader.begin_point(fmt::format("photometry.{}.", number), 0);
    for (const ServerField& field : fields)
        reader.set_point(field.key, field.value);
    reader.end_point();
    return first_error(std::move(findings));
}

CheckedServerReport check_server_report(std::string_view text) {
    CheckedServerReport checked;
    Findings findings;
    if (text.starts_with("\xEF\xBB\xBF")) {
        text.remove_prefix(3);
        findings.warning(1, "", "A byte-order mark stands before the report. Save the file without one.");
    }
    ServerReader reader(findings);
    checked.is_json =
        trimmed(text.substr(0, 4096)).starts_with('{') || trimmed(text.substr(0, 4096)).starts_with('[');
    if (trimmed(text).empty()) {
        findings.error(0, "", "The file is empty.");
    } else if (checked.is_json) {
        read_server_json(text, reader, findings);
    } else {
        read_server_tsv(text, reader, findings);
    }
    reader.finish();
    checked.keys = reader.keys();
    checked.report = std::move(reader).take();
    checked.findings = std::move(findings).take();
    return checked;
}

}  // namespace emberline::exchange
