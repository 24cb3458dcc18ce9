// SPDX-License-Identifier: MIT
// The page's questions and changes, asked of a small measured campaign, and the gate before them. An input is
// lines, each a request or a header of those that follow:
//   GET /api/curve?band=V
//   POST /api/changes {"action": "exclude"}
//   Host: 127.0.0.1:8420
// Left out: watching, which measures in a thread of its own, and takes nothing of the request.
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <nlohmann/json.hpp>

#include "fuzz/promise.hpp"
#include "page/gate.hpp"
#include "page/route.hpp"
#include "page/session.hpp"
#include "quantities/text.hpp"
#include "rehearsal/rehearse.hpp"
#include "tasks/measure.hpp"

using namespace emberline;
using namespace emberline::fuzz;
namespace fs = std::filesystem;

namespace {

constexpr std::size_t most_requests = 6;
constexpr std::size_t largest_answer = 64U << 20U;

template <class T>
T whole(Result<T> made) {
    ensure(made.has_value(), "the campaign can be made", made ? "" : one_line(made.error()));
    return std::move(*made);
}

std::string contents(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

// Made once; every input finds it as it was.
class MeasuredFolder {
  public:
    MeasuredFolder() : folder_(fs::temp_directory_path() / ("fuzzed_page_" + std::to_string(::getpid()))) {
        fs::remove_all(folder_);
        rehearsal::RehearsalOptions options;
        options.nights = 2;
        options.frames = 2;
        options.width_px = 300;
        options.height_px = 300;
        options.cloud = options.trailing = options.host = false;  // a host takes seconds to solve
        static_cast<void>(whole(rehearsal::rehearse(path(), options)));
        const auto workspace = whole(tasks::open_workspace(path()));
        static_cast<void>(whole(tasks::measure(workspace, {.threads = 1})));
        ledger_ = contents(folder_ / "c/campaign.ledger");
        anew();
    }
    ~MeasuredFolder() {
        session_.reset();
        std::error_code ignored;
        fs::remove_all(folder_, ignored);
    }
    MeasuredFolder(const MeasuredFolder&) = delete;
    MeasuredFolder& operator=(const MeasuredFolder&) = delete;

    [[nodiscard]] page::Session& session() const { return *session_; }
    void undo_changes() {
        session_.reset();
        for (const char* beside : {"c/campaign.ledger-wal", "c/campaign.ledger-shm", "c/out"})
            fs::remove_all(folder_ / beside);
        std::ofstream(folder_ / "c/campaign.ledger", std::ios::binary) << ledger_;
        anew();
    }

  private:
    [[nodiscard]] std::string path() const { return (folder_ / "c").string(); }
    void anew() {
        page::PageSettings settings;
        settings.campaign_folder = path();
        settings.threads = 1;
        session_ = std::make_unique<page::Session>(settings);
    }

    fs::path folder_;
    std::string ledger_;
    std::unique_ptr<page::Session> session_;
};

std::unique_ptr<MeasuredFolder> campaign;

// "%41+b" of an address; what is no pair of digits stays as it is.
std::string decoded(std::string_view text, bool plus_is_blank) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const auto digit = [&](std::size_t at) {
            return at < text.size()
                       ? std::string_view("0123456789abcdef").find(lower_case(text.substr(at, 1)))
                       : std::string_view::npos;
        };
        const auto high = digit(i + 1), low = digit(i + 2);
        if (text[i] == '%' && high != std::string_view::npos && low != std::string_view::npos) {
            out += static_cast<char>(high * 16 + low);
            i += 2;
        } else {
            out += plus_is_blank && text[i] == '+' ? ' ' : text[i];
        }
    }
    return out;
}

struct Request {
    bool change = false;
    std::string path;
    page::Query query;
};

Request request_of(std::string_view line) {
    Request request;
    request.change = line.starts_with("POST ");
    line.remove_prefix(line.find(' ') + 1);
    const auto end = std::min(line.find(' '), line.size());
    const std::string_view target = line.substr(0, end);
    request.query.body = line.substr(std::min(end + 1, line.size()));
    const auto mark = std::min(target.find('?'), target.size());
    request.path = decoded(target.substr(0, mark), false);
    for (const std::string_view pair : split(target.substr(std::min(mark + 1, target.size())), '&')) {
        const auto equals = std::min(pair.find('='), pair.size());
        request.query.query.emplace(decoded(pair.substr(0, equals), true),
                                    decoded(pair.substr(std::min(equals + 1, pair.size())), true));
    }
    return request;
}

void check_gate(page::Gate& gate, const page::Knock& knock) {
    const auto refused = gate.refuse(knock);
    if (refused) {
        ensure(refused->status >= 400 && refused->status < 500, "a refusal is the asker's fault");
        ensure(!refused->problem.what.empty() && !refused->problem.mend.empty(), "a refusal says what to do");
        return;
    }
    const std::string host = lower_case(knock.host);
    ensure(host == "localhost:8420" || host == "127.0.0.1:8420" || host == "[::1]:8420" || host == "::1:8420",
           "who is let in asked for this machine", host);
    ensure(knock.origin.empty() || knock.origin == "http://" + knock.host, "who is let in is no other site",
           knock.origin);
    ensure(knock.method != "POST" || !knock.path.starts_with("/api/") || knock.path == "/api/enter" ||
               knock.key == gate.key(),
           "who changes something has the key");
}

// Whether the ledger may have changed.
bool ask(const Request& request) {
    static const std::vector<page::Route> routes = page::all_routes();
    for (const page::Route& route : routes) {
        if (route.change != request.change || route.pattern.starts_with("/api/watch")) continue;
        auto path = page::match(route.pattern, request.path);
        if (!path) continue;
        page::Query query = request.query;
        query.path = std::move(*path);
        const auto answer = route.handle(campaign->session(), query);
        if (!answer) {
            ensure(!answer.error().what.empty() && !answer.error().mend.empty(), "a problem says what to do",
                   one_line(answer.error()));
            ensure(answer.error().kind != ProblemKind::storage, "no question breaks the disk",
                   one_line(answer.error()));
            return request.change;
        }
        ensure(answer->body.size() < largest_answer, "an answer can be sent");
        ensure(!answer->type.empty() && answer->status >= 200 && answer->status < 500,
               "an answer has a type");
        if (answer->type == "application/json")
            ensure(nlohmann::json::accept(answer->body), "an answer is JSON", answer->body.substr(0, 400));
        for (const char c : answer->file_name)
            ensure(static_cast<unsigned char>(c) >= 0x20 && c != '"' && c != '/' && c != '\\',
                   "a file's name can stand in a header", answer->file_name);
        return request.change;
    }
    return false;
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char***) {
    campaign = std::make_unique<MeasuredFolder>();
    return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    page::PageSettings settings;
    auto gate = whole(page::Gate::open(settings));
    gate.set_port(page::usual_port);
    page::Knock knock{.host = "127.0.0.1:8420", .content_type = "application/json", .from = "127.0.0.1"};
    std::size_t asked = 0;
    bool changed = false;
    for (const std::string_view line : split(text_of(data, size), '\n')) {
        const auto header = [&](std::string_view name, std::string& into) {
            if (line.starts_with(name)) into = trimmed(line.substr(name.size()));
        };
        header("Host:", knock.host);
        header("Origin:", knock.origin);
        header("Sec-Fetch-Site:", knock.fetch_site);
        header("Cookie:", knock.cookie);
        header("Content-Type:", knock.content_type);
        header("X-Emberline-Key:", knock.key);
        if (!line.starts_with("GET ") && !line.starts_with("POST ")) continue;
        if (++asked > most_requests) break;
        const Request request = request_of(line);
        knock.method = request.change ? "POST" : "GET";
        knock.path = request.path;
        check_gate(gate, knock);
        changed = ask(request) || changed;
    }
    if (changed) campaign->undo_changes();
    return 0;
}
