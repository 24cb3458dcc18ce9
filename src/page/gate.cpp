// SPDX-License-Identifier: MIT
#include "page/gate.hpp"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <ifaddrs.h>
#include <netdb.h>
#include <sys/random.h>
#include <unistd.h>

#include <algorithm>
#include <array>

#include "quantities/text.hpp"

namespace emberline::page {
namespace {

// A picture that is dragged asks for some dozens of tiles a second; a person changes nothing ten times a
// second. Common practice, no source.
constexpr double reads_a_second = 400.0, changes_a_second = 10.0;
constexpr double burst_s = 2.0;
constexpr std::size_t most_addresses = 4096;

Refused refusal(int status, std::string what, std::string where, std::string mend) {
    return {status,
            {.what = std::move(what),
             .where = std::move(where),
             .mend = std::move(mend),
             .kind = ProblemKind::request}};
}

// Names that this machine answers to when it listens at all its addresses.
void add_own_addresses(std::vector<std::string>& names) {
    ifaddrs* all = nullptr;
    if (getifaddrs(&all) != 0) return;
    for (const ifaddrs* one = all; one != nullptr; one = one->ifa_next) {
        if (one->ifa_addr == nullptr) continue;
        const int family = one->ifa_addr->sa_family;
        if (family != AF_INET && family != AF_INET6) continue;
        std::array<char, NI_MAXHOST> text{};
        const socklen_t size = family == AF_INET ? sizeof(sockaddr_in) : sizeof(sockaddr_in6);
        if (getnameinfo(one->ifa_addr, size, text.data(), text.size(), nullptr, 0, NI_NUMERICHOST) == 0)
            names.emplace_back(text.data());
    }
    freeifaddrs(all);
    std::array<char, 256> name{};
    if (gethostname(name.data(), name.size() - 1) == 0) {
        names.push_back(lower_case(name.data()));
        names.push_back(lower_case(name.data()) + ".local");
    }
}

}  // namespace

bool same_secret(std::string_view a, std::string_view b) {
    unsigned different = a.size() == b.size() ? 0U : 1U;
    for (std::size_t i = 0; i < a.size() && i < b.size(); ++i)
        different |= static_cast<unsigned char>(a[i]) ^ static_cast<unsigned char>(b[i]);
    return different == 0;
}

bool is_loopback(std::string_view address) {
    return address == "localhost" || address == "::1" || address.starts_with("127.");
}

Result<Gate> Gate::open(const PageSettings& settings) {
    Gate gate;
    std::array<unsigned char, 24> bytes{};
    if (getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size())) {
        return fail({.what = "The system gives no random numbers to make a key of.",
                     .where = {},
                     .mend = "Try again.",
                     .kind = ProblemKind::storage});
    }
    for (const unsigned char byte : bytes)
        gate.key_ += fmt::format("{:02x}", byte);
    gate.loopback_ = is_loopback(settings.address);
    gate.names_ = {"localhost", "127.0.0.1", "::1", lower_case(settings.address)};
    for (const std::string& name : settings.names)
        gate.names_.push_back(lower_case(name));
    if (!gate.loopback_) add_own_addresses(gate.names_);
    return gate;
}

// "127.0.0.1:8420", "[::1]:8420", "localhost".
bool Gate::is_here(std::string_view host) const {
    std::string_view name = host, port;
    if (host.starts_with('[')) {
        const auto end = host.find(']');
        if (end == std::string_view::npos) return false;
        name = host.substr(1, end - 1);
        port = host.substr(end + 1);
    } else if (const auto colon = host.find(':'); colon != std::string_view::npos) {
        name = host.substr(0, colon);
        port = host.substr(colon);
    }
    if (port.empty() ? port_ != 80 : port != fmt::format(":{}", port_)) return false;
    return std::find(names_.begin(), names_.end(), lower_case(name)) != names_.end();
}

bool Gate::has_key(const Knock& knock) const {
    if (same_secret(knock.key, key_)) return true;
    const std::string wanted = "emberline-key=" + key_;
    for (std::string_view rest = knock.cookie; !rest.empty();) {
        const auto end = rest.find(';');
        if (same_secret(trimmed(rest.substr(0, end)), wanted)) return true;
        rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
    }
    return false;
}

bool Gate::too_many(const std::string& from, bool change) {
    const double rate = change ? changes_a_second : reads_a_second;
    const auto now = std::chrono::steady_clock::now();
    const std::scoped_lock lock(*mutex_);
    if (buckets_.size() >= most_addresses) buckets_.clear();
    Bucket& bucket =
        buckets_.try_emplace(from + (change ? " change" : ""), Bucket{rate * burst_s, now}).first->second;
    const double since_s = std::chrono::duration<double>(now - bucket.filled).count();
    bucket.tokens = std::min(bucket.tokens + rate * since_s, rate * burst_s);
    bucket.filled = now;
    if (bucket.tokens < 1.0) return true;
    bucket.tokens -= 1.0;
    return false;
}

std::optional<Refused> Gate::refuse(const Knock& knock) {
    const bool change = knock.method == "POST";
    if (!is_here(knock.host)) {
        return refusal(421, "This page is not served under that name.",
                       fmt::format("Host '{}'", knock.host.substr(0, 80)),
                       "Use the address that `emberline page` printed, or start it with `--name NAME`.");
    }
    if (too_many(knock.from, change)) {
        return refusal(429, "Too many requests came in a short time.", knock.path,
                       "Wait a second and try again.");
    }
    if (knock.method != "GET" && knock.method != "HEAD" && !change) {
        return refusal(405, "Only GET, HEAD and POST are understood.", knock.method,
                       "Reading is GET, changing is POST.");
    }
    const bool own = knock.origin.empty() || knock.origin == "http://" + knock.host;
    const bool foreign =
        !knock.fetch_site.empty() && knock.fetch_site != "same-origin" && knock.fetch_site != "none";
    const bool api = knock.path.starts_with("/api/");
    if (!own || (api && foreign)) {
        return refusal(403, "Another site asked for this.",
                       fmt::format("Origin '{}'", knock.origin.substr(0, 80)),
                       "Open the address that `emberline page` printed.");
    }
    if (!api || knock.path == "/api/enter") return std::nullopt;
    // A cookie goes along whoever asks: it never suffices for a change.
    if (change ? !same_secret(knock.key, key_) : !loopback_ && !has_key(knock)) {
        return refusal(403, "The key of this page is missing, or from an earlier start of the program.",
                       knock.path, "Open the link that `emberline page` printed when it was started.");
    }
    if (change && !knock.content_type.starts_with("application/json")) {
        return refusal(415, "A change is sent as application/json.", knock.path, "Set Content-Type.");
    }
    return std::nullopt;
}

std::string Gate::own_name() const {
    for (const std::string& name : names_) {
        if (!is_loopback(name) && name != "0.0.0.0" && name != "::" && name.find(':') == std::string::npos)
            return name;
    }
    return "localhost";
}

std::string Gate::cookie() const {
    return "emberline-key=" + key_ + "; Path=/api/; HttpOnly; SameSite=Strict";
}

}  // namespace emberline::page
