// SPDX-License-Identifier: MIT
#include <fmt/format.h>
#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <csignal>
#include <fstream>
#include <iostream>
#include <thread>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
namespace fs = std::filesystem;

namespace {

constexpr const char* night = "frames/2024-03-14/";
const Words nine_frames = {"--nights", "1", "--frames", "9"};

void pause(double seconds) {
    std::this_thread::sleep_for(std::chrono::duration<double>(seconds));
}

// A campaign whose frames lie in a store, to land one by one.
class Arrivals {
  public:
    Arrivals() : campaign_(nine_frames) {
        fs::rename(campaign_.path("frames"), campaign_.path("store"));
        fs::create_directories(campaign_.path(night));
    }
    [[nodiscard]] const Rehearsed& campaign() const { return campaign_; }
    [[nodiscard]] std::string bytes(int i) const {
        return contents(campaign_.path(fmt::format("store/2024-03-14/V_{:03}.fits", i)));
    }
    [[nodiscard]] std::string place(const std::string& name) const { return campaign_.path(night + name); }
    void land(int i, const std::string& name) const { write_contents(place(name), bytes(i)); }
    void land_in_pieces(int i, const std::string& name, int pieces) const {
        const std::string whole = bytes(i);
        std::ofstream file(place(name), std::ios::binary | std::ios::trunc);
        for (int k = 0; k < pieces; ++k) {
            const std::size_t from =
                whole.size() * static_cast<std::size_t>(k) / static_cast<std::size_t>(pieces);
            const std::size_t to =
                whole.size() * static_cast<std::size_t>(k + 1) / static_cast<std::size_t>(pieces);
            file.write(whole.data() + from, static_cast<std::streamsize>(to - from)).flush();
            pause(0.2);
        }
    }

  private:
    Rehearsed campaign_;
};

class Watched {
  public:
    Watched(const Arrivals& arrivals, const Words& options)
        : out_(arrivals.campaign().path(fmt::format("watched_{}", ++runs))),
          process_(words(arrivals, options), {.standard_output = out_}) {}
    [[nodiscard]] bool says(const std::string& text) const {
        return contents(out_).find(text) != std::string::npos;
    }
    // Waits for a line with both texts.
    void wait_for(const std::string& file, const std::string& text) {
        const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds(20);
        while (std::chrono::steady_clock::now() < give_up) {
            for (const std::string& line : lines_of(contents(out_))) {
                if (line.find(file) != std::string::npos && line.find(text) != std::string::npos) return;
            }
            REQUIRE(process_.running());
            pause(0.02);
        }
        FAIL("nothing was said of " << file << " in 20 s: " << contents(out_));
    }
    [[nodiscard]] Process& process() { return process_; }
    [[nodiscard]] std::string out() const { return contents(out_); }

  private:
    static Words words(const Arrivals& arrivals, const Words& options) {
        Words all = {"watch", "-c", arrivals.campaign().path(), "--settle-s", "0.4"};
        all.insert(all.end(), options.begin(), options.end());
        return all;
    }
    static inline int runs = 0;
    std::string out_;
    Process process_;
};

}  // namespace

TEST_CASE("a watched night gives the ledger of one single measure", "[watch][shows]") {
    const Arrivals night_sky;
    std::string said;
    {
        Watched watch(night_sky, {"--until", "0.0005"});
        night_sky.land(1, "V_001.fits");
        night_sky.land_in_pieces(2, "V_002.fits", 5);
        const std::string third = night_sky.bytes(3);
        write_contents(night_sky.place("V_003.fits"), third.substr(0, third.size() / 2));
        write_contents(night_sky.place(".V_hidden.fits"), third);
        write_contents(night_sky.place("notes.txt"), "clouds from the west");
        // Who opens a pipe waits for its other end for ever.
        REQUIRE(::mkfifo(night_sky.place("pipe.fits").c_str(), 0600) == 0);
        night_sky.land(4, "V_004.fits.part");
        night_sky.land(9, "V_005.fits");
        night_sky.land(6, "V_006.fits");
        for (const char* file : {"V_001.fits", "V_002.fits", "V_005.fits", "V_006.fits"})
            watch.wait_for(file, "transparency");
        CHECK_FALSE(watch.says("V_003"));
        CHECK_FALSE(watch.says("V_004"));
        night_sky.land(3, "V_003.fits");
        fs::rename(night_sky.place("V_004.fits.part"), night_sky.place("V_004.fits"));
        watch.wait_for("V_003.fits", "transparency");
        watch.wait_for("V_004.fits", "transparency");
        night_sky.land(5, "V_005.fits");
        fs::rename(night_sky.place("V_006.fits"), night_sky.place("V_006_west.fits"));
        night_sky.land(1, "V_001_copy.fits");
        const std::string seventh = night_sky.bytes(7);
        write_contents(night_sky.place("V_007.fits"), seventh.substr(0, seventh.size() / 3));
        pause(0.3);
        watch.process().signal(SIGKILL);
        CHECK(watch.process().wait().status == 128 + SIGKILL);
        said = watch.out();
    }
    {
        Watched watch(night_sky, {"--until", "0.0005"});
        pause(0.5);
        night_sky.land(7, "V_007.fits");
        night_sky.land_in_pieces(8, "V_008.fits", 3);
        for (const char* file : {"V_007.fits", "V_008.fits"})
            watch.wait_for(file, "transparency");
        pause(1.0);
        watch.process().signal(SIGINT);
        const Outcome stopped = watch.process().wait();
        INFO(stopped.err);
        CHECK(stopped.status == 130);
        CHECK(watch.says("Stopped; the ledger is whole."));
        CHECK_FALSE(watch.says("V_hidden"));
        CHECK_FALSE(watch.says("pipe"));
        said += "… killed, and started again …\n" + watch.out();
        said += stopped.err;
    }
    const Rehearsed single(nine_frames);
    fs::remove_all(single.path("frames"));
    fs::remove(night_sky.place("pipe.fits"));
    fs::copy(night_sky.campaign().path("frames"), single.path("frames"), fs::copy_options::recursive);
    const Outcome measured = single.run({"measure"});
    INFO(measured.out << measured.err);
    REQUIRE(measured.status == 0);

    std::cout << "What the watch said:\n" << said << '\n';
    for (const char* level : {"frame", "night"}) {
        const std::string watched = night_sky.campaign().run({"export", "--level", level}).out;
        const std::string once = single.run({"export", "--level", level}).out;
        std::cout << fmt::format("export --level {}, by watch:\n{}by one measure:\n{}{}\n\n", level, watched,
                                 once, watched == once ? "the same, byte for byte" : "NOT the same");
        CHECK(watched == once);
        CHECK(lines_of(once).size() == (std::string(level) == "frame" ? 9 : 2));
    }
    std::cout << "8 frames landed whole, in pieces, cut short, under a temporary name, over another exposure "
                 "and renamed;\nkilled and restarted in between; then stopped.\n";
}

TEST_CASE("a watch ends when its goal is reached, or when nothing comes", "[watch]") {
    const Arrivals night_sky;
    night_sky.land(1, "V_001.fits");
    night_sky.land(2, "V_002.fits");
    const std::string& folder = night_sky.campaign().path();
    const Words usual = {"watch", "-c", folder, "--settle-s", "0.2"};
    const auto with = [&](const Words& more) {
        Words words = usual;
        words.insert(words.end(), more.begin(), more.end());
        return run(words);
    };
    const Outcome reached = with({"--until", "1"});
    INFO(reached.out << reached.err);
    CHECK(reached.status == 0);
    CHECK(reached.out.find("1 reached") != std::string::npos);

    night_sky.land(3, "V_003.fits");
    const std::string fourth = night_sky.bytes(4);
    write_contents(night_sky.place("V_004.fits"), fourth.substr(0, fourth.size() / 2));
    const Outcome idle = with({"--idle-s", "0.5", "--until", "0.0001", "--json"});
    INFO(idle.out << idle.err);
    CHECK(idle.status == 1);
    CHECK(idle.json().at("measured") == 1);
    CHECK(idle.json().at("refused") == 1);
    CHECK(idle.json().at("goal_reached") == false);
    CHECK(idle.json().at("night").at(0).at("goal_out_of_reach") == true);
    CHECK(idle.err.find("2 frames here are known already.") != std::string::npos);
    CHECK(idle.err.find("is beyond any number of frames") != std::string::npos);
    CHECK(idle.err.find("V_004.fits  refused: The file is cut short") != std::string::npos);
}

TEST_CASE("a watch says what cannot be watched", "[watch]") {
    const Arrivals night_sky;
    const auto watch = [&](const Words& more) {
        Words words = {"watch"};
        words.insert(words.end(), more.begin(), more.end());
        return night_sky.campaign().run(words);
    };
    CHECK(watch({night_sky.campaign().path("nowhere")}).status == 2);
    CHECK(watch({"--until", "nan"}).status == 2);
    CHECK(watch({"--until", "0"}).status == 2);
    CHECK(watch({"--settle-s", "-1"}).status == 2);
    night_sky.land(1, "V_001.fits");
    write_contents(night_sky.campaign().path("campaign.ledger"), std::string(20000, 'x'));
    const Outcome damaged = watch({"--settle-s", "0.1"});
    CHECK(damaged.status == 4);
    CHECK(damaged.err.find("is no database") != std::string::npos);
}

TEST_CASE("a watched folder may go and come back", "[watch]") {
    const Arrivals night_sky;
    Watched watch(night_sky, {});
    night_sky.land(1, "V_001.fits");
    watch.wait_for("V_001.fits", "transparency");
    fs::rename(night_sky.campaign().path("frames"), night_sky.campaign().path("elsewhere"));
    pause(1.0);
    fs::rename(night_sky.campaign().path("elsewhere"), night_sky.campaign().path("frames"));
    night_sky.land(2, "V_002.fits");
    watch.wait_for("V_002.fits", "transparency");
    watch.process().signal(SIGTERM);
    const Outcome stopped = watch.process().wait();
    CHECK(stopped.status == 130);
    CHECK(stopped.err.find("The folder is gone") != std::string::npos);
    CHECK(stopped.err.find("The folder is back") != std::string::npos);
}
