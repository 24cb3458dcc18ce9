// SPDX-License-Identifier: MIT
// Work done in another process, as another program would.
#pragma once

#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <stdexcept>

namespace emberline::ledger::testing {

// The child ends with what `work` returns, and does none of the parent's tidying up.
template <class Work>
pid_t start_child(const Work& work) {
    const pid_t child = ::fork();
    if (child < 0) throw std::runtime_error("no child process");
    if (child == 0) {
        int status = 99;
        try {
            status = work();
        } catch (...) {
        }
        ::_exit(status);
    }
    return child;
}

inline int wait_for(pid_t child) {
    int status = 0;
    if (::waitpid(child, &status, 0) != child) return -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

template <class Work>
int in_child(const Work& work) {
    return wait_for(start_child(work));
}

}  // namespace emberline::ledger::testing
