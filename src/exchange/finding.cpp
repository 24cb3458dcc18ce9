// SPDX-License-Identifier: MIT
#include "exchange/finding.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace emberline::exchange {
namespace {

constexpr std::size_t most_findings = 1000;

}  // namespace

bool any_error(const std::vector<Finding>& findings) {
    return std::any_of(findings.begin(), findings.end(), [](const Finding& f) { return f.error; });
}

std::string in_quotes(std::string_view text) {
    constexpr std::size_t most = 40;
    if (text.size() <= most) return fmt::format("'{}'", text);
    std::size_t end = most;
    while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80U)
        --end;  // not through a character
    return fmt::format("'{}…'", text.substr(0, end));
}

void Findings::add(Finding finding) {
    if (list_.size() < most_findings) {
        list_.push_back(std::move(finding));
        return;
    }
    ++more_;
    if (finding.error) ++more_errors_;
}

std::vector<Finding> Findings::take() && {
    if (more_ > 0) {
        list_.push_back({0, "", fmt::format("{} more findings, {} of them errors.", more_, more_errors_),
                         more_errors_ > 0});
    }
    return std::move(list_);
}

}  // namespace emberline::exchange
