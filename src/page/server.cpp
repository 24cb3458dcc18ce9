// SPDX-License-Identifier: MIT
#include "page/server.hpp"

#include <fmt/format.h>
#include <httplib.h>
#include <sys/socket.h>

#include <charconv>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <thread>

#include "page/connections.hpp"
#include "page/gate.hpp"
#include "page/route.hpp"
#include "page/session.hpp"
#include "page/site_files.hpp"

namespace emberline::page {
namespace {

constexpr std::size_t largest_body = 64UL * 1024;
constexpr int waiting_connections = 512;  // not accepted yet
constexpr int most_listeners = 32;        // of live events; each holds a connection
constexpr std::chrono::seconds comment_every{15};
constexpr std::chrono::milliseconds stop_every{100};

constexpr const char* without_site =
    "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>Emberline</title><p>This program was "
    "built "
    "without its page. Install nodejs and npm (Debian: <code>apt install nodejs npm</code>), run "
    "<code>scripts/build</code> again, and start <code>emberline page</code> anew.</p><p>Everything the page "
    "shows "
    "is a command too: <code>emberline --help</code>. What it is built on can be asked here already, under "
    "<code>/api/</code>.</p></html>";

void answer_problem(httplib::Response& response, int status, const Problem& problem) {
    response.status = status;
    response.set_content(answer({{"problem", tasks::document(problem)}}).body, "application/json");
}

int status_of(const Problem& problem) {
    switch (problem.kind) {
        case ProblemKind::request:
            return 400;
        case ProblemKind::input:
            return 404;
        case ProblemKind::storage:
        case ProblemKind::interrupted:
            return 503;
    }
    return 500;
}

void add_headers(httplib::Response& response) {
    response.set_header(
        "Content-Security-Policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'");
    response.set_header("X-Content-Type-Options", "nosniff");
    response.set_header("Referrer-Policy", "no-referrer");
    response.set_header("Cross-Origin-Resource-Policy", "same-origin");
    response.set_header("Cross-Origin-Opener-Policy", "same-origin");
    if (!response.has_header("Cache-Control")) response.set_header("Cache-Control", "no-store");
}

Query query_of(const httplib::Request& request, std::map<std::string, std::string> path) {
    Query query;
    query.path = std::move(path);
    query.query.insert(request.params.begin(), request.params.end());
    query.body = request.body;
    return query;
}

void give(httplib::Response& response, Answer&& given) {
    response.status = given.status;
    if (given.lasting) response.set_header("Cache-Control", "private, max-age=31536000, immutable");
    if (!given.file_name.empty())
        response.set_header("Content-Disposition",
                            fmt::format("attachment; filename=\"{}\"", given.file_name));
    response.set_content(std::move(given.body), given.type);
}

std::string with_key(std::string_view page, const std::string& key) {
    constexpr std::string_view mark = "name=\"emberline-key\" content=\"";
    std::string text(page);
    if (const auto at = text.find(mark); at != std::string::npos) text.insert(at + mark.size(), key);
    return text;
}

}  // namespace

struct PageServer::Impl {
    Impl(const PageSettings& settings, Gate opened) : session(settings), gate(std::move(opened)) {}

    void prepare();
    void handle(const httplib::Request& request, httplib::Response& response);
    [[nodiscard]] bool give_site_file(const httplib::Request& request, httplib::Response& response) const;
    void give_live(const httplib::Request& request, httplib::Response& response);
    void let_in(const httplib::Request& request, httplib::Response& response);

    Session session;
    Gate gate;
    std::vector<Route> routes = all_routes();
    std::atomic<int> listeners{0};
    int port = 0;
    socket_t listening = INVALID_SOCKET;
    httplib::Server server;
};

void PageServer::Impl::prepare() {
    server.new_task_queue = [] { return new Connections; };  // the library deletes it
    server.set_payload_max_length(largest_body);
    server.set_keep_alive_max_count(1000);
    server.set_keep_alive_timeout(2);
    server.set_read_timeout(5);
    server.set_write_timeout(10);
    server.set_tcp_nodelay(true);
    // The port of a program that was just ended is free again; one that is taken stays taken.
    server.set_socket_options([this](socket_t socket) {
        listening = socket;
        const int yes = 1;
        setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    });
    server.set_pre_routing_handler([this](const httplib::Request& request, httplib::Response& response) {
        const auto refused = gate.refuse({.method = request.method,
                                          .path = request.path,
                                          .host = request.get_header_value("Host"),
                                          .origin = request.get_header_value("Origin"),
                                          .fetch_site = request.get_header_value("Sec-Fetch-Site"),
                                          .key = request.get_header_value("X-Emberline-Key"),
                                          .cookie = request.get_header_value("Cookie"),
                                          .content_type = request.get_header_value("Content-Type"),
                                          .from = request.remote_addr});
        if (!refused) return httplib::Server::HandlerResponse::Unhandled;
        answer_problem(response, refused->status, refused->problem);
        // Its body is not read: nothing more is understood on this connection.
        response.set_header("Connection", "close");
        return httplib::Server::HandlerResponse::Handled;
    });
    server.set_post_routing_handler(
        [](const httplib::Request&, httplib::Response& response) { add_headers(response); });
    server.set_error_handler([](const httplib::Request& request, httplib::Response& response) {
        if (!response.body.empty()) return;
        const bool large = response.status == 413 || response.status == 414 || response.status == 431;
        answer_problem(response, response.status < 400 ? 400 : response.status,
                       {.what = large ? "The request is too large." : "The request is not understood.",
                        .where = request.path.substr(0, 200),
                        .mend = large ? fmt::format("A change has {} bytes at most.", largest_body)
                                      : "API.md says what can be asked.",
                        .kind = ProblemKind::request});
    });
    server.set_exception_handler(
        [](const httplib::Request& request, httplib::Response& response, std::exception_ptr thrown) {
            std::string why = "of no known kind";
            try {
                std::rethrow_exception(thrown);
            } catch (const std::exception& error) {
                why = error.what();
            } catch (...) {
            }
            answer_problem(response, 500,
                           {.what = fmt::format("Something went wrong that should not have: {}.", why),
                            .where = request.path.substr(0, 200),
                            .mend = "Please report it with what you did.",
                            .kind = ProblemKind::storage});
        });
    server.Post("/api/enter", [this](const auto& request, auto& response) { let_in(request, response); });
    const auto all = [this](const auto& request, auto& response) { handle(request, response); };
    server.Get(".*", all);
    server.Post(".*", all);
}

void PageServer::Impl::let_in(const httplib::Request& request, httplib::Response& response) {
    const auto given = query_of(request, {}).object();
    const auto shown = given ? text_member(*given, "key") : Result<std::string>(fail(given.error()));
    if (!shown) return answer_problem(response, 400, shown.error());
    if (!same_secret(*shown, gate.key())) {
        return answer_problem(response, 403,
                              {.what = "That key is not the one of this start of the program.",
                               .where = "/api/enter",
                               .mend = "Open the link that `emberline page` printed.",
                               .kind = ProblemKind::request});
    }
    response.set_header("Set-Cookie", gate.cookie());
    give(response, answer({{"entered", true}}));
}

bool PageServer::Impl::give_site_file(const httplib::Request& request, httplib::Response& response) const {
    const bool front = request.path == "/" || request.path == "/index.html";
    if (front && !has_site()) {
        response.set_content(without_site, "text/html; charset=utf-8");
        return true;
    }
    const SiteFile* file = find_site_file(front ? "/index.html" : request.path);
    if (file == nullptr) return false;
    response.status = 200;
    response.set_header("Cache-Control", "no-cache");
    if (front) {
        response.set_content(gate.loopback() ? with_key(file->bytes, gate.key()) : std::string(file->bytes),
                             std::string(file->type()));
    } else {
        response.set_content(file->bytes.data(), file->bytes.size(), std::string(file->type()));
    }
    return true;
}

void PageServer::Impl::give_live(const httplib::Request& request, httplib::Response& response) {
    if (listeners.fetch_add(1) >= most_listeners) {
        listeners.fetch_sub(1);
        return answer_problem(response, 503,
                              {.what = "Too many pages listen already.",
                               .where = request.path,
                               .mend = fmt::format("Close some: {} are open.", most_listeners),
                               .kind = ProblemKind::storage});
    }
    std::string after = request.get_header_value("Last-Event-ID");
    if (after.empty()) after = request.get_param_value("after");
    std::uint64_t heard = session.live().newest();
    std::from_chars(after.data(), after.data() + after.size(), heard);
    response.status = 200;
    response.set_chunked_content_provider(
        "text/event-stream",
        [this, heard, greeted = false](std::size_t, httplib::DataSink& sink) mutable {
            const auto write = [&](const std::string& text) { return sink.write(text.data(), text.size()); };
            if (!greeted) {
                greeted = true;
                return write("retry: 2000\n: welcome\n\n");
            }
            const Live::Heard news = session.live().wait(heard, comment_every);
            if (news.over) {
                write("event: bye\ndata: {}\n\n");
                sink.done();
                return true;
            }
            if (news.missed && !write("event: again\ndata: {}\n\n")) return false;
            for (const LiveEvent& event : news.events) {
                heard = event.number;
                if (news.missed) continue;
                if (!write(
                        fmt::format("id: {}\nevent: {}\ndata: {}\n\n", event.number, event.name, event.data)))
                    return false;
            }
            return !news.events.empty() || write(": still here\n\n");
        },
        [this](bool) { listeners.fetch_sub(1); });
}

void PageServer::Impl::handle(const httplib::Request& request, httplib::Response& response) {
    const bool change = request.method == "POST";
    if (!change && request.path == "/api/live") return give_live(request, response);
    for (const Route& route : routes) {
        if (route.change != change) continue;
        auto path = match(route.pattern, request.path);
        if (!path) continue;
        auto given = route.handle(session, query_of(request, std::move(*path)));
        if (given) return give(response, std::move(*given));
        return answer_problem(response, status_of(given.error()), given.error());
    }
    if (!change && give_site_file(request, response)) return;
    answer_problem(response, 404,
                   {.what = "There is nothing of that name.",
                    .where = request.path.substr(0, 200),
                    .mend = "API.md says what can be asked.",
                    .kind = ProblemKind::request});
}

Result<PageServer> PageServer::open(const PageSettings& settings) {
    auto gate = Gate::open(settings);
    if (!gate) return fail(gate.error());
    auto impl = std::make_unique<Impl>(settings, std::move(*gate));
    if (auto campaign = impl->session.workspace(); !campaign) return fail(campaign.error());
    // A ledger of an earlier version is brought up to date here, once; where it cannot be, reading says so.
    std::error_code absent;
    const std::string kept = (*impl->session.workspace())->ledger_path();
    if (std::filesystem::exists(kept, absent))
        static_cast<void>(impl->session.ledger(ledger::Ledger::Access::write));
    impl->prepare();
    impl->port = settings.port == 0 ? impl->server.bind_to_any_port(settings.address)
                 : impl->server.bind_to_port(settings.address, settings.port) ? settings.port
                                                                              : -1;
    if (impl->port <= 0) {
        return fail(
            {.what =
                 "The page cannot be served there: the port is taken, or the address is not this machine's.",
             .where = fmt::format("{}, port {}", settings.address, settings.port),
             .mend = "Choose another with `--port`, or `--port 0` for any that is free.",
             .kind = ProblemKind::storage});
    }
    // The library lets five wait, and the system would drop the sixth of a browser's.
    ::listen(impl->listening, waiting_connections);
    impl->gate.set_port(impl->port);
    if (settings.watch) {
        if (auto watching = impl->session.watch(); !watching) return fail(watching.error());
    }
    return PageServer(std::move(impl));
}

PageServer::PageServer(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
PageServer::PageServer(PageServer&&) noexcept = default;
PageServer& PageServer::operator=(PageServer&&) noexcept = default;
PageServer::~PageServer() = default;

int PageServer::port() const {
    return impl_->port;
}
const std::string& PageServer::key() const {
    return impl_->gate.key();
}

std::string PageServer::link() const {
    const std::string& address = impl_->session.settings().address;
    std::string host = address.find(':') == std::string::npos ? address : "[" + address + "]";
    if (address == "0.0.0.0" || address == "::") host = impl_->gate.own_name();
    const std::string link = fmt::format("http://{}:{}/", host, impl_->port);
    return impl_->gate.loopback() ? link : link + "#key=" + key();
}

void PageServer::serve(const std::atomic<bool>& stop) {
    impl_->session.live().follow([this] { return impl_->session.revision(); });
    std::jthread stopper([&](const std::stop_token& over) {
        while (!stop && !over.stop_requested())
            std::this_thread::sleep_for(stop_every);
        impl_->session.live().end();
        impl_->server.stop();
    });
    impl_->server.listen_after_bind();
    stopper.request_stop();
    impl_->session.watcher().stop();
}

}  // namespace emberline::page
