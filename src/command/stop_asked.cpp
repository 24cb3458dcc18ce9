// SPDX-License-Identifier: MIT
#include <csignal>

#include "command/face.hpp"

namespace emberline::command {
namespace {

std::atomic<bool> asked{false};
static_assert(std::atomic<bool>::is_always_lock_free, "a signal handler may touch it");

extern "C" void ask_to_stop(int signal) {
    asked.store(true);
    std::signal(signal, SIG_DFL);
}

}  // namespace

const std::atomic<bool>* stop_asked() {
    std::signal(SIGINT, ask_to_stop);
    std::signal(SIGTERM, ask_to_stop);
    return &asked;
}

}  // namespace emberline::command
