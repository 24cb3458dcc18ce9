// SPDX-License-Identifier: MIT
// tests/faults/fault_injector — laid before the C library (LD_PRELOAD), so that at a chosen call the program
// meets what power cuts, full disks and other people do. Told by its environment:
//   EMBERLINE_FAULT        count                only counts
//                          kill N               SIGKILL instead of the N-th call that changes the disk
//                          tear N               likewise, with half of what it would have written there
//                          fail N               that call and all after it fail: EIO
//                          full N               the disk takes N bytes more, then ENOSPC
//                          readonly             EROFS
//                          yank N HOW           at the N-th reading of a file: gone, cut, emptied, other,
//                          over
//   EMBERLINE_FAULT_UNDER  only files whose paths begin so
//   EMBERLINE_FAULT_TALLY  a file that counts changes, bytes and readings, whatever the end
//   EMBERLINE_FAULT_OTHER  in place of UNDER, where the files lie that take the place of yanked ones (other:
//   by
//                          renaming; over: written over it)
// The C library calls itself without passing here: cfitsio's writing shows as fwrite and fclose.
#include <dlfcn.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <climits>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>

namespace {

struct Tally {
    std::atomic<long> changes{0}, bytes{0}, readings{0};
};

enum class Fault { none, kill, tear, fail, full, readonly, yank };

struct Orders {
    Fault fault = Fault::none;
    long at = 0;
    std::string how, under, other;
    Tally own;
    Tally* tally = &own;
};

// Made on the first call, which comes before any constructor of ours may have run; never destroyed.
Orders& orders() {
    static Orders& made = *[] {
        auto* orders = new Orders;
        const char* under = std::getenv("EMBERLINE_FAULT_UNDER");
        const char* what = std::getenv("EMBERLINE_FAULT");
        if (under == nullptr || what == nullptr) return orders;
        orders->under = under;
        char word[16] = {}, how[16] = {};
        std::sscanf(what, "%15s %ld %15s", word, &orders->at, how);
        orders->how = how;
        const std::pair<const char*, Fault> names[] = {{"kill", Fault::kill}, {"tear", Fault::tear},
                                                       {"fail", Fault::fail}, {"full", Fault::full},
                                                       {"yank", Fault::yank}, {"readonly", Fault::readonly}};
        for (const auto& [name, fault] : names) {
            if (std::strcmp(word, name) == 0) orders->fault = fault;
        }
        if (const char* other = std::getenv("EMBERLINE_FAULT_OTHER")) orders->other = other;
        if (const char* path = std::getenv("EMBERLINE_FAULT_TALLY")) {
            const auto file = static_cast<int>(::syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CREAT, 0600));
            if (file >= 0 && ::syscall(SYS_ftruncate, file, sizeof(Tally)) == 0) {
                void* shared = reinterpret_cast<void*>(
                    ::syscall(SYS_mmap, nullptr, sizeof(Tally), PROT_READ | PROT_WRITE, MAP_SHARED, file, 0));
                if (shared != MAP_FAILED) orders->tally = static_cast<Tally*>(shared);
            }
            ::syscall(SYS_close, file);
        }
        return orders;
    }();
    return made;
}

// Programs that this one starts go undisturbed.
__attribute__((constructor)) void leave_children_alone() {
    (void)orders();
    ::unsetenv("LD_PRELOAD");
}

bool concerns(const char* path) {
    const Orders& o = orders();
    if (o.under.empty() || path == nullptr) return false;
    if (path[0] == '/') return std::strncmp(path, o.under.c_str(), o.under.size()) == 0;
    char folder[PATH_MAX] = {};
    if (::syscall(SYS_getcwd, folder, sizeof folder) <= 0) return false;
    return (std::string(folder) + "/" + path).starts_with(o.under);
}

std::string path_of(int descriptor) {
    char link[64] = {}, path[PATH_MAX] = {};
    std::snprintf(link, sizeof link, "/proc/self/fd/%d", descriptor);
    const long n = ::syscall(SYS_readlinkat, AT_FDCWD, link, path, sizeof path - 1);
    return n > 0 ? std::string(path, static_cast<std::size_t>(n)) : std::string();
}

bool concerns(int descriptor) {
    return !orders().under.empty() && concerns(path_of(descriptor).c_str());
}

void end_here() {
    ::syscall(SYS_kill, ::getpid(), SIGKILL);
}

struct Verdict {
    bool refused = false;
    std::size_t most = SIZE_MAX;  // bytes that are taken
    bool end_then = false;        // once these are written
};

Verdict refuse(int error) {
    errno = error;
    return {.refused = true};
}

// One more change of the disk, by so many bytes.
Verdict change(std::size_t bytes = 0) {
    Orders& o = orders();
    const long number = ++o.tally->changes;
    const long before = o.tally->bytes.fetch_add(static_cast<long>(bytes));
    switch (o.fault) {
        case Fault::kill:
            if (number == o.at) end_here();
            return {};
        case Fault::tear:
            if (number != o.at) return {};
            if (bytes < 2) end_here();
            return {.most = bytes / 2, .end_then = true};
        case Fault::fail:
            return number >= o.at ? refuse(EIO) : Verdict{};
        case Fault::full: {
            const long room = std::max(0L, o.at - before);
            if (room == 0) return refuse(ENOSPC);
            return {.most = static_cast<std::size_t>(room)};
        }
        case Fault::readonly:
            return refuse(EROFS);
        case Fault::none:
        case Fault::yank:
            break;
    }
    return {};
}

ssize_t written(const Verdict& verdict, long n) {
    if (verdict.end_then) end_here();
    return n;
}

void copy_over(const std::string& from, const std::string& to, int flags) {
    const auto source = static_cast<int>(::syscall(SYS_openat, AT_FDCWD, from.c_str(), O_RDONLY, 0));
    const auto target = static_cast<int>(::syscall(SYS_openat, AT_FDCWD, to.c_str(), flags, 0644));
    char block[65536];
    for (long n = 0; (n = ::syscall(SYS_read, source, block, sizeof block)) > 0;)
        (void)!::syscall(SYS_write, target, block, n);
    ::syscall(SYS_close, source);
    ::syscall(SYS_close, target);
}

// One more reading of a file that can be yanked away.
void reading(const std::string& path) {
    Orders& o = orders();
    if (!path.ends_with(".fits")) return;
    const long number = ++o.tally->readings;
    if (o.fault != Fault::yank || number != o.at) return;
    if (o.how == "gone") {
        ::syscall(SYS_unlinkat, AT_FDCWD, path.c_str(), 0);
    } else if (o.how == "cut") {
        ::syscall(SYS_truncate, path.c_str(), 2880 * 5);
    } else if (o.how == "emptied") {
        ::syscall(SYS_truncate, path.c_str(), 0);
    }
    // Of the same place in the folder of the others.
    const std::string other = o.other + path.substr(std::min(o.under.size(), path.size()));
    if (o.how == "other") {
        const std::string beside = path + ".other";
        copy_over(other, beside, O_WRONLY | O_CREAT | O_TRUNC);
        ::syscall(SYS_renameat2, AT_FDCWD, beside.c_str(), AT_FDCWD, path.c_str(), 0);
    } else if (o.how == "over") {
        copy_over(other, path, O_WRONLY | O_TRUNC);
    }
}

void reading(int descriptor) {
    if (orders().under.empty()) return;
    const int kept = errno;
    if (const std::string path = path_of(descriptor); concerns(path.c_str())) reading(path);
    errno = kept;
}

bool changes(int flags) {
    return (flags & O_ACCMODE) != O_RDONLY || (flags & (O_CREAT | O_TRUNC)) != 0;
}

// Opening changes the disk where it makes a file or empties it; read-only disks refuse more.
int open_at(int folder, const char* path, int flags, mode_t mode) {
    if (concerns(path) && changes(flags)) {
        const bool there = ::syscall(SYS_faccessat, folder, path, F_OK) == 0;
        const bool makes = (!there && (flags & O_CREAT) != 0) || (flags & O_TRUNC) != 0;
        if ((makes || orders().fault == Fault::readonly) && change().refused) return -1;
    }
    return static_cast<int>(::syscall(SYS_openat, folder, path, flags, mode));
}

mode_t mode_of(int flags, va_list rest) {
    return (flags & (O_CREAT | O_TMPFILE)) != 0 ? static_cast<mode_t>(va_arg(rest, int)) : 0;
}

template <class Function>
Function* next(const char* name) {
    return reinterpret_cast<Function*>(::dlsym(RTLD_NEXT, name));
}

FILE* open_stream(const char* path, const char* how, const char* name) {
    using Open = FILE*(const char*, const char*);
    const bool empties = how[0] == 'w';
    const bool writes = empties || how[0] == 'a' || std::strchr(how, '+') != nullptr;
    if (concerns(path) && writes && (empties || orders().fault == Fault::readonly) && change().refused)
        return nullptr;
    return next<Open>(name)(path, how);
}

// What may be asked of a whole path, and done by one call.
template <class Work>
int changed(bool concerned, const Work& work) {
    if (concerned && change().refused) return -1;
    return static_cast<int>(work());
}

}  // namespace

extern "C" {

ssize_t write(int descriptor, const void* bytes, size_t n) {
    const Verdict verdict = concerns(descriptor) ? change(n) : Verdict{};
    if (verdict.refused) return -1;
    return written(verdict, ::syscall(SYS_write, descriptor, bytes, std::min(n, verdict.most)));
}

ssize_t pwrite64(int descriptor, const void* bytes, size_t n, off64_t at) {
    const Verdict verdict = concerns(descriptor) ? change(n) : Verdict{};
    if (verdict.refused) return -1;
    return written(verdict, ::syscall(SYS_pwrite64, descriptor, bytes, std::min(n, verdict.most), at));
}

ssize_t pwrite(int descriptor, const void* bytes, size_t n, off_t at) {
    return pwrite64(descriptor, bytes, n, at);
}

ssize_t writev(int descriptor, const struct iovec* parts, int count) {
    if (!concerns(descriptor)) return ::syscall(SYS_writev, descriptor, parts, count);
    ssize_t sum = 0;
    for (int i = 0; i < count; ++i) {
        const ssize_t n = write(descriptor, parts[i].iov_base, parts[i].iov_len);
        if (n < 0) return sum > 0 ? sum : n;
        sum += n;
        if (static_cast<size_t>(n) < parts[i].iov_len) break;
    }
    return sum;
}

int fsync(int descriptor) {
    return changed(concerns(descriptor), [&] { return ::syscall(SYS_fsync, descriptor); });
}
int fdatasync(int descriptor) {
    return changed(concerns(descriptor), [&] { return ::syscall(SYS_fdatasync, descriptor); });
}
int ftruncate64(int descriptor, off64_t size) {
    return changed(concerns(descriptor), [&] { return ::syscall(SYS_ftruncate, descriptor, size); });
}
int ftruncate(int descriptor, off_t size) {
    return ftruncate64(descriptor, size);
}
int posix_fallocate64(int descriptor, off64_t from, off64_t size) {
    const Verdict verdict = concerns(descriptor) ? change(static_cast<size_t>(size)) : Verdict{};
    if (verdict.refused) return errno;
    if (verdict.most < static_cast<size_t>(size)) return ENOSPC;
    return next<int(int, off64_t, off64_t)>("posix_fallocate64")(descriptor, from, size);
}
int posix_fallocate(int descriptor, off_t from, off_t size) {
    return posix_fallocate64(descriptor, from, size);
}

int renameat2(int from_folder, const char* from, int to_folder, const char* to, unsigned flags) {
    return changed(concerns(to),
                   [&] { return ::syscall(SYS_renameat2, from_folder, from, to_folder, to, flags); });
}
int rename(const char* from, const char* to) {
    return renameat2(AT_FDCWD, from, AT_FDCWD, to, 0);
}
int unlink(const char* path) {
    return changed(concerns(path), [&] { return ::syscall(SYS_unlinkat, AT_FDCWD, path, 0); });
}
int remove(const char* path) {
    const int kept = errno;
    if (unlink(path) == 0) return 0;
    if (errno != EISDIR && errno != EPERM) return -1;
    errno = kept;
    return static_cast<int>(::syscall(SYS_unlinkat, AT_FDCWD, path, AT_REMOVEDIR));
}
int link(const char* from, const char* to) {
    return changed(concerns(to), [&] { return ::syscall(SYS_linkat, AT_FDCWD, from, AT_FDCWD, to, 0); });
}
int mkdir(const char* path, mode_t mode) {
    return changed(concerns(path), [&] { return ::syscall(SYS_mkdirat, AT_FDCWD, path, mode); });
}
ssize_t sendfile64(int to, int from, off64_t* at, size_t n) {
    const Verdict verdict = concerns(to) ? change(n) : Verdict{};
    if (verdict.refused) return -1;
    return written(verdict, ::syscall(SYS_sendfile, to, from, at, std::min(n, verdict.most)));
}
ssize_t sendfile(int to, int from, off_t* at, size_t n) {
    return sendfile64(to, from, at, n);
}

int faccessat(int folder, const char* path, int mode, int) {
    if ((mode & W_OK) != 0 && orders().fault == Fault::readonly && concerns(path)) {
        errno = EROFS;
        return -1;
    }
    return static_cast<int>(::syscall(SYS_faccessat, folder, path, mode));
}
int access(const char* path, int mode) {
    return faccessat(AT_FDCWD, path, mode, 0);
}

int open64(const char* path, int flags, ...) {
    va_list rest;
    va_start(rest, flags);
    const mode_t mode = mode_of(flags, rest);
    va_end(rest);
    return open_at(AT_FDCWD, path, flags, mode);
}
int open(const char* path, int flags, ...) {
    va_list rest;
    va_start(rest, flags);
    const mode_t mode = mode_of(flags, rest);
    va_end(rest);
    return open_at(AT_FDCWD, path, flags, mode);
}
int openat(int folder, const char* path, int flags, ...) {
    va_list rest;
    va_start(rest, flags);
    const mode_t mode = mode_of(flags, rest);
    va_end(rest);
    return open_at(folder, path, flags, mode);
}

FILE* fopen64(const char* path, const char* how) {
    return open_stream(path, how, "fopen64");
}
FILE* fopen(const char* path, const char* how) {
    return open_stream(path, how, "fopen");
}
size_t fwrite(const void* bytes, size_t size, size_t n, FILE* stream) {
    using Write = size_t(const void*, size_t, size_t, FILE*);
    static Write* const plain = next<Write>("fwrite");
    const Verdict verdict = concerns(::fileno(stream)) ? change(size * n) : Verdict{};
    if (verdict.refused) return 0;
    const size_t done = plain(bytes, 1, std::min(size * n, verdict.most), stream);
    if (verdict.end_then) {
        std::fflush(stream);
        end_here();
    }
    if (done < size * n) errno = ENOSPC;
    return size == 0 ? 0 : done / size;
}
int fclose(FILE* stream) {
    using Close = int(FILE*);
    static Close* const plain = next<Close>("fclose");
    const int descriptor = ::fileno(stream);
    const bool writes = (::fcntl(descriptor, F_GETFL) & O_ACCMODE) != O_RDONLY;
    const bool refused = writes && concerns(descriptor) && change().refused;
    const int why = errno;
    const int closed = plain(stream);
    if (!refused) return closed;
    errno = why;
    return EOF;
}

ssize_t pread64(int descriptor, void* bytes, size_t n, off64_t at) {
    reading(descriptor);
    return ::syscall(SYS_pread64, descriptor, bytes, n, at);
}
ssize_t pread(int descriptor, void* bytes, size_t n, off_t at) {
    return pread64(descriptor, bytes, n, at);
}
ssize_t read(int descriptor, void* bytes, size_t n) {
    reading(descriptor);
    return ::syscall(SYS_read, descriptor, bytes, n);
}
size_t fread(void* bytes, size_t size, size_t n, FILE* stream) {
    using Read = size_t(void*, size_t, size_t, FILE*);
    static Read* const plain = next<Read>("fread");
    reading(::fileno(stream));
    return plain(bytes, size, n, stream);
}
void* mmap64(void* where, size_t n, int may, int flags, int descriptor, off64_t at) {
    void* mapped = reinterpret_cast<void*>(::syscall(SYS_mmap, where, n, may, flags, descriptor, at));
    if (mapped != MAP_FAILED && descriptor >= 0) reading(descriptor);
    return mapped;
}
void* mmap(void* where, size_t n, int may, int flags, int descriptor, off_t at) {
    return mmap64(where, n, may, flags, descriptor, at);
}
}
