// SPDX-License-Identifier: MIT
#include "frame/fits_image.hpp"

#include <fcntl.h>
#include <fitsio.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>

#include "frame/parse_header.hpp"

namespace emberline::frame {
namespace {

constexpr int most_side_px = 200000;  // larger axes are a damaged header
constexpr long long most_tile_px = 1LL << 28;
constexpr const char* save_again = "Save the frame again from its source, or leave it out.";

std::uint64_t big_endian(const unsigned char* bytes, std::size_t size) {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < size; ++i)
        value = (value << 8U) | bytes[i];
    return value;
}

std::string spoken(int status) {
    char text[FLEN_STATUS] = {};
    fits_get_errstatus(status, text);
    fits_clear_errmsg();
    return text;
}

}  // namespace

struct FitsImage::Handle {
    fitsfile* fits = nullptr;
    int descriptor = -1;
    long long file_bytes = 0;
    ~Handle() {
        int status = 0;
        if (fits != nullptr) fits_close_file(fits, &status);
        fits_clear_errmsg();
        if (descriptor >= 0) ::close(descriptor);
    }
};

FitsImage::FitsImage() : handle_(std::make_unique<Handle>()) {}
FitsImage::~FitsImage() = default;

Problem FitsImage::problem(std::string what, std::string mend) const {
    return {.what = std::move(what), .where = path_, .mend = std::move(mend)};
}

Problem FitsImage::library_problem(int status) const {
    return problem(fmt::format("The file cannot be read as FITS: {}.", spoken(status)), save_again);
}

Result<std::shared_ptr<FitsImage>> FitsImage::open(const std::string& path) {
    const std::shared_ptr<FitsImage> image(new FitsImage());
    image->path_ = path;
    struct stat about = {};
    if (::stat(path.c_str(), &about) != 0) {
        return fail(image->problem(fmt::format("The file cannot be opened: {}.", std::strerror(errno)),
                                   "Check its name and permissions."));
    }
    if (!S_ISREG(about.st_mode)) {
        return fail(
            image->problem("This is not a file.", "Name a FITS file, or a folder of them to `measure`."));
    }
    if (about.st_size == 0) return fail(image->problem("The file is empty.", save_again));
    Handle& handle = *image->handle_;
    handle.file_bytes = about.st_size;
    handle.descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (handle.descriptor < 0) {
        return fail(image->problem(fmt::format("The file cannot be opened: {}.", std::strerror(errno)),
                                   "Check its permissions."));
    }
    std::array<char, 30> first{};
    const ssize_t got = ::pread(handle.descriptor, first.data(), first.size(), 0);
    const std::string_view start(first.data(), got > 0 ? static_cast<std::size_t>(got) : 0);
    const bool gzipped = start.starts_with("\x1f\x8b");
    if (!gzipped && !start.starts_with("SIMPLE  =")) {
        return fail(image->problem("This is not a FITS file: it does not begin with SIMPLE.",
                                   "Save the picture as FITS; other formats lose what photometry needs."));
    }
    int status = 0;
    // The plain form of opening: a name with brackets is a name, not a filter.
    if (fits_open_diskfile(&handle.fits, path.c_str(), READONLY, &status) != 0) {
        const std::string why = spoken(status);
        const bool cut = status == END_OF_FILE || status == NO_END || status == READ_ERROR;
        return fail(image->problem(cut ? "The file is cut short within its header."
                                       : fmt::format("The file cannot be read as FITS: {}.", why),
                                   save_again));
    }
    if (auto good = image->find_image(); !good) return fail(good.error());
    if (auto good = image->take_header(); !good) return fail(good.error());
    image->plain_ = !image->tile_compressed_ && !gzipped;
    if (auto good = image->read_layout(); !good) return fail(good.error());
    if (auto good = image->check_length(); !good) return fail(good.error());
    return image;
}

// The first HDU with a picture in it. What the others held goes into the message when there is none.
Result<void> FitsImage::find_image() {
    std::string seen;
    for (int number = 1;; ++number) {
        int status = 0, type = 0;
        if (fits_movabs_hdu(handle_->fits, number, &type, &status) != 0) {
            const bool end = status == END_OF_FILE && number > 1;
            if (!end) return fail(library_problem(status));
            fits_clear_errmsg();
            break;
        }
        const bool packed = fits_is_compressed_image(handle_->fits, &status) != 0;
        if (type != IMAGE_HDU && !packed) continue;
        int bits = 0, axes = 0;
        long sides[4] = {};
        if (fits_get_img_param(handle_->fits, 4, &bits, &axes, sides, &status) != 0) {
            return fail(library_problem(status));
        }
        if (axes == 0) continue;
        const bool flat = axes == 2 || (axes == 3 && (sides[2] == 1 || sides[2] == 3));
        if (!flat) {
            if (seen.empty()) {
                seen = axes == 3 ? fmt::format("a cube of {} planes", sides[2])
                                 : fmt::format("{} dimension{}", axes, axes == 1 ? "" : "s");
            }
            continue;
        }
        if (sides[0] < 1 || sides[1] < 1 || sides[0] > most_side_px || sides[1] > most_side_px) {
            return fail(problem(fmt::format("The image is said to be {} × {} pixels.", sides[0], sides[1]),
                                "Its header is damaged: save the frame again from its source."));
        }
        hdu_ = number - 1;
        width_ = static_cast<int>(sides[0]);
        height_ = static_cast<int>(sides[1]);
        planes_ = axes == 3 ? static_cast<int>(sides[2]) : 1;
        bits_ = bits;
        tile_compressed_ = packed;
        return {};
    }
    if (seen.empty()) {
        return fail(problem("The file holds no image (NAXIS = 0).", "Name the file that holds the pixels."));
    }
    return fail(problem(fmt::format("The file holds no flat image, but {}.", seen),
                        "Save one frame a file, or a cube of three colour planes."));
}

Result<void> FitsImage::take_header() {
    char* text = nullptr;
    int cards = 0, status = 0;
    // For a tile-compressed image: the header that the unpacked image would have.
    if (tile_compressed_) {
        fits_convert_hdr2str(handle_->fits, 0, nullptr, 0, &text, &cards, &status);
    } else {
        fits_hdr2str(handle_->fits, 0, nullptr, 0, &text, &cards, &status);
    }
    if (status != 0) return fail(library_problem(status));
    std::string raw(text);
    fits_free_memory(text, &status);
    header_ = parse_header(std::move(raw));
    return {};
}

Result<void> FitsImage::read_layout() {
    scale_ = header_.number("BSCALE").value_or(1.0);
    zero_ = header_.number("BZERO").value_or(0.0);
    if (const auto blank = header_.integer("BLANK"); blank && bits_ > 0) {
        has_blank_ = true;
        blank_ = *blank;
    }
    LONGLONG header_start = 0, data_start = 0, data_end = 0;
    int status = 0;
    fits_get_hduaddrll(handle_->fits, &header_start, &data_start, &data_end, &status);
    if (status != 0) return fail(library_problem(status));
    data_offset_ = data_start;
    if (tile_compressed_) {
        long long tile = 1;
        for (int axis = 1; axis <= 3; ++axis) {
            long side = 1;
            int unread = 0;
            const std::string key = fmt::format("ZTILE{}", axis);
            if (fits_read_key(handle_->fits, TLONG, key.c_str(), &side, nullptr, &unread) == 0) {
                if (side < 1 || side > most_side_px) tile = most_tile_px + 1;
                tile = std::min(tile * std::max(side, 1L), most_tile_px + 1);
            }
            fits_clear_errmsg();
        }
        if (tile > most_tile_px) {
            return fail(problem("Its compression tiles are absurdly large.",
                                "Its header is damaged: save the frame again from its source."));
        }
    }
    return {};
}

// A plain file shows at once whether its pixels are all there; packed ones show it when they are read.
Result<void> FitsImage::check_length() {
    if (!plain_) return {};
    const long long pixel_bytes = std::abs(bits_) / 8;
    const long long needed = data_offset_ + pixel_bytes * width_ * height_ * planes_;
    if (needed <= handle_->file_bytes) return {};
    return fail(
        problem(fmt::format("The file is cut short: {} of {} bytes are there.", handle_->file_bytes, needed),
                "Copy it again from the camera's computer, or leave it out."));
}

std::string FitsImage::pixel_type() const {
    if (bits_ == 16 && zero_ == 32768.0 && scale_ == 1.0) return "uint16";
    if (bits_ == 32 && zero_ == 2147483648.0 && scale_ == 1.0) return "uint32";
    if (bits_ == 8) return "uint8";
    return bits_ > 0 ? fmt::format("int{}", bits_) : fmt::format("float{}", -bits_);
}

Result<Cutout> FitsImage::read(int plane, const PixelBox& box) const {
    Cutout cutout;
    cutout.box = box;
    cutout.adu.resize(static_cast<std::size_t>(box.width) * static_cast<std::size_t>(box.height));
    const auto good = plain_ ? read_plain(plane, cutout) : read_packed(plane, cutout);
    if (!good) return fail(good.error());
    for (float& v : cutout.adu) {
        if (!std::isfinite(v)) v = std::numeric_limits<float>::quiet_NaN();
    }
    return cutout;
}

namespace {

struct Scaling {
    double scale, zero;
    bool has_blank;
    long long blank;
};

template <class Stored, std::size_t size>
void unpack_integers(const unsigned char* bytes, std::size_t n, const Scaling& s, float* out) {
    for (std::size_t i = 0; i < n; ++i) {
        const auto raw = static_cast<Stored>(big_endian(bytes + i * size, size));
        const bool undefined = s.has_blank && static_cast<long long>(raw) == s.blank;
        out[i] = undefined ? std::numeric_limits<float>::quiet_NaN()
                           : static_cast<float>(static_cast<double>(raw) * s.scale + s.zero);
    }
}

template <class Stored, class Bits>
void unpack_floats(const unsigned char* bytes, std::size_t n, const Scaling& s, float* out) {
    for (std::size_t i = 0; i < n; ++i) {
        const auto raw =
            std::bit_cast<Stored>(static_cast<Bits>(big_endian(bytes + i * sizeof(Bits), sizeof(Bits))));
        out[i] = static_cast<float>(static_cast<double>(raw) * s.scale + s.zero);
    }
}

}  // namespace

Result<void> FitsImage::read_plain(int plane, Cutout& cutout) const {
    const PixelBox& box = cutout.box;
    const auto pixel_bytes = static_cast<std::size_t>(std::abs(bits_) / 8);
    const auto columns = static_cast<std::size_t>(box.width);
    const Scaling scaling{scale_, zero_, has_blank_, blank_};
    std::vector<unsigned char> row(columns * pixel_bytes);
    for (int y = 0; y < box.height; ++y) {
        const long long pixel = (static_cast<long long>(plane) * height_ + box.y0 + y) * width_ + box.x0;
        const long long offset = data_offset_ + pixel * static_cast<long long>(pixel_bytes);
        std::size_t have = 0;
        while (have < row.size()) {
            const ssize_t got = ::pread(handle_->descriptor, row.data() + have, row.size() - have,
                                        offset + static_cast<long long>(have));
            if (got < 0 && errno == EINTR) continue;
            if (got <= 0) {
                return fail(
                    problem("The file ended while it was read.", "Is it still being written? Try again."));
            }
            have += static_cast<std::size_t>(got);
        }
        float* out = cutout.adu.data() + static_cast<std::size_t>(y) * columns;
        switch (bits_) {
            case 8:
                unpack_integers<std::uint8_t, 1>(row.data(), columns, scaling, out);
                break;
            case 16:
                unpack_integers<std::int16_t, 2>(row.data(), columns, scaling, out);
                break;
            case 32:
                unpack_integers<std::int32_t, 4>(row.data(), columns, scaling, out);
                break;
            case 64:
                unpack_integers<std::int64_t, 8>(row.data(), columns, scaling, out);
                break;
            case -32:
                unpack_floats<float, std::uint32_t>(row.data(), columns, scaling, out);
                break;
            default:
                unpack_floats<double, std::uint64_t>(row.data(), columns, scaling, out);
                break;
        }
    }
    return {};
}

Result<void> FitsImage::read_packed(int plane, Cutout& cutout) const {
    const PixelBox& box = cutout.box;
    long first[3] = {box.x0 + 1L, box.y0 + 1L, plane + 1L};
    long last[3] = {static_cast<long>(box.x0) + box.width, static_cast<long>(box.y0) + box.height,
                    plane + 1L};
    long step[3] = {1, 1, 1};
    float undefined = std::numeric_limits<float>::quiet_NaN();
    int any = 0, status = 0;
    fits_read_subset(handle_->fits, TFLOAT, first, last, step, &undefined, cutout.adu.data(), &any, &status);
    if (status == 0) return {};
    const bool cut = status == END_OF_FILE || status == READ_ERROR || status == DATA_DECOMPRESSION_ERR;
    if (!cut) return fail(library_problem(status));
    fits_clear_errmsg();
    return fail(problem("The packed pixels are cut short or damaged.", save_again));
}

}  // namespace emberline::frame
