// SPDX-License-Identifier: MIT
#include "frame/fits_image.hpp"

#include <fitsio.h>
#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <limits>
#include <span>
#include <utility>

#include "frame/file_bytes.hpp"
#include "frame/file_kind.hpp"
#include "frame/file_marks.hpp"
#include "frame/gzip_end.hpp"
#include "frame/parse_header.hpp"
#include "frame/rice.hpp"
#include "frame/tile_header.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr int most_side_px = 200000;  // larger axes are a damaged header
// Packed pixels may be far fewer bytes than the image that the header announces: 4 GB of it is enough.
constexpr long long most_packed_px = 1LL << 30;
constexpr const char* damaged_pixels = "The packed pixels are cut short or damaged.";
constexpr const char* save_again = "Save the frame again from its source, or leave it out.";
constexpr const char* damaged_header = "Its header is damaged: save the frame again from its source.";
constexpr const char* copy_again = "Copy it again from the camera's computer, or leave it out.";

std::string spoken(int status) {
    char text[FLEN_STATUS] = {};
    fits_get_errstatus(status, text);
    fits_clear_errmsg();
    return text;
}

}  // namespace

struct FitsImage::Handle {
    FileBytes bytes;  // outlive what the library opened
    fitsfile* fits = nullptr;
    void close_library() {
        int status = 0;
        if (fits != nullptr) fits_close_file(fits, &status);
        fits = nullptr;
        fits_clear_errmsg();
    }
    ~Handle() { close_library(); }
};

FitsImage::FitsImage() : handle_(std::make_unique<Handle>()) {}
FitsImage::~FitsImage() = default;

Problem FitsImage::problem(std::string what, std::string mend) const {
    return {.what = std::move(what), .where = path_, .mend = std::move(mend)};
}

Problem FitsImage::library_problem(int status) const {
    return problem(fmt::format("The file cannot be read as FITS: {}.", spoken(status)), save_again);
}

Result<std::shared_ptr<FitsImage>> FitsImage::open(const std::string& path, const std::string& extension) {
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
    if (const auto wrong = handle.bytes.open(path))
        return fail(
            image->problem(fmt::format("The file cannot be opened: {}.", *wrong), "Check its permissions."));
    image->gzipped_ = handle.bytes.gzipped();
    if (image->gzipped_) {
        if (const auto wrong = handle.bytes.unpack()) return fail(image->problem(*wrong, copy_again));
    }
    // What is packed in any way once more, cfitsio would unpack without limit.
    if (!handle.bytes.start().starts_with(fits_mark)) return fail(not_fits(handle.bytes.start(), path));
    if (auto good = image->check_header(0); !good) return fail(good.error());
    if (const int status = handle.bytes.open_library(&handle.fits); status != 0) {
        const std::string why = spoken(status);
        const bool cut = status == END_OF_FILE || status == NO_END || status == READ_ERROR;
        return fail(image->problem(cut ? "The file is cut short within its header."
                                       : fmt::format("The file cannot be read as FITS: {}.", why),
                                   save_again));
    }
    if (auto good = image->find_image(extension); !good) return fail(good.error());
    if (auto good = image->take_header(); !good) return fail(good.error());
    image->plain_ = !image->tile_compressed_;
    if (auto good = image->read_layout(); !good) return fail(good.error());
    if (auto good = image->check_length(); !good) return fail(good.error());
    if (image->plain_) handle.close_library();
    return image;
}

Result<void> FitsImage::check_header(long long offset) const {
    const auto wrong = handle_->bytes.impossible_count(offset);
    if (!wrong) return {};
    return fail(problem(*wrong, damaged_header));
}

// Of the part of the file that is open.
bool FitsImage::is_named(const std::string& extension) const {
    char name[FLEN_VALUE] = {};
    int absent = 0;
    fits_read_key(handle_->fits, TSTRING, "EXTNAME", name, nullptr, &absent);
    if (absent != 0) fits_clear_errmsg();
    return absent == 0 && upper_case(trimmed(name)) == upper_case(extension);
}

// The first HDU with a picture in it. What the others held goes into the message when there is none.
Result<void> FitsImage::find_image(const std::string& extension) {
    std::string seen;
    for (int number = 1;; ++number) {
        int status = 0, type = 0;
        if (number > 1) {
            LONGLONG header_start = 0, data_start = 0, next = 0;
            fits_get_hduaddrll(handle_->fits, &header_start, &data_start, &next, &status);
            if (status != 0) return fail(library_problem(status));
            if (auto good = check_header(next); !good) return good;
        }
        if (fits_movabs_hdu(handle_->fits, number, &type, &status) != 0) {
            if (number == 1) return fail(library_problem(status));
            fits_clear_errmsg();
            LONGLONG header_start = 0, data_start = 0, data_end = 0;
            int unknown = 0;
            fits_get_hduaddrll(handle_->fits, &header_start, &data_start, &data_end, &unknown);
            if (unknown != 0 || data_end != handle_->fits->Fptr->filesize) {
                return fail(problem(fmt::format("The file holds no image up to its part {}, and what follows "
                                                "is cut short or damaged.",
                                                number - 1),
                                    copy_again));
            }
            break;
        }
        const bool packed = fits_is_compressed_image(handle_->fits, &status) != 0;
        if (type != IMAGE_HDU && !packed) continue;
        int bits = 0, axes = 0;
        long sides[4] = {};
        if (fits_get_img_param(handle_->fits, 4, &bits, &axes, sides, &status) != 0) {
            return fail(library_problem(status));
        }
        if (axes == 0 || (!extension.empty() && !is_named(extension))) continue;
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
                                damaged_header));
        }
        hdu_ = number - 1;
        width_ = static_cast<int>(sides[0]);
        height_ = static_cast<int>(sides[1]);
        planes_ = axes == 3 ? static_cast<int>(sides[2]) : 1;
        bits_ = bits;
        tile_compressed_ = packed;
        return {};
    }
    if (!extension.empty()) {
        return fail(problem(fmt::format("The file holds no flat image called {}.", extension),
                            "Make the file anew."));
    }
    if (seen.empty()) {
        return fail(problem("The file holds no image (NAXIS = 0).", "Name the file that holds the pixels."));
    }
    return fail(problem(fmt::format("The file holds no flat image, but {}.", seen),
                        "Save one frame a file, or a cube of three planes: red, green, blue. A fourth plane, "
                        "of brightness or transparency, or a missing one leaves unsaid which is which."));
}

Result<void> FitsImage::take_header() {
    char* text = nullptr;
    int cards = 0, status = 0;
    fits_hdr2str(handle_->fits, 0, nullptr, 0, &text, &cards, &status);
    if (status != 0) return fail(library_problem(status));
    std::string raw(text);
    fits_free_memory(text, &status);
    header_ = parse_header(tile_compressed_ ? header_of_unpacked(raw) : std::move(raw));
    return {};
}

Result<void> FitsImage::read_layout() {
    for (const char* keyword : {"BSCALE", "BZERO"}) {
        if (!header_.text(keyword) || header_.number(keyword)) continue;
        return fail(problem(fmt::format("{} is '{}', which is no number.", keyword, *header_.text(keyword)),
                            "Its pixels cannot be read: save the frame again from its source."));
    }
    scaling_.scale = header_.number("BSCALE").value_or(1.0);
    scaling_.zero = header_.number("BZERO").value_or(0.0);
    if (scaling_.scale == 0.0) return fail(problem("By BSCALE = 0 all its pixels are the same.", save_again));
    if (bits_ > 0) scaling_.blank = header_.integer("BLANK");
    LONGLONG header_start = 0, data_start = 0, data_end = 0;
    int status = 0;
    fits_get_hduaddrll(handle_->fits, &header_start, &data_start, &data_end, &status);
    if (status != 0) return fail(library_problem(status));
    header_offset_ = header_start;
    data_offset_ = data_start;
    if (!plain_ && static_cast<long long>(width_) * height_ > most_packed_px) {
        return fail(problem(fmt::format("The packed image is said to be {} × {} pixels.", width_, height_),
                            damaged_header));
    }
    return tile_compressed_ ? read_tiling() : Result<void>();
}

Result<void> FitsImage::read_tiling() {
    char packing[FLEN_VALUE] = {};
    int unnamed = 0;
    fits_read_key(handle_->fits, TSTRING, "ZCMPTYPE", packing, nullptr, &unnamed);
    const bool gzipped_tiles = std::string_view(packing).starts_with("GZIP");
    const bool rice_tiles = upper_case(packing).starts_with("RICE");
    const auto number_or = [&](const char* keyword, int otherwise) {
        int number = otherwise, unread = 0;
        fits_read_key(handle_->fits, TINT, keyword, &number, nullptr, &unread);
        fits_clear_errmsg();
        return unread != 0 ? otherwise : number;
    };
    // Where ZTILEn are missing, a tile is a row.
    tiles_ = {width_,
              height_,
              planes_,
              number_or("ZTILE1", width_),
              number_or("ZTILE2", 1),
              number_or("ZTILE3", 1)};
    // As cfitsio takes them, whatever ZNAMEn call them; header_counts refuses less than 1.
    rice_ = {.pixels = static_cast<std::size_t>(number_or("ZVAL1", 32)),
             .bytes_per_pixel = static_cast<std::size_t>(number_or("ZVAL2", 4))};
    for (const char* name : {"COMPRESSED_DATA", "GZIP_COMPRESSED_DATA"}) {
        std::string exact(name);
        int column = 0, absent = 0;
        fits_get_colnum(handle_->fits, CASEINSEN, exact.data(), &column, &absent);
        const bool gzipped = gzipped_tiles || exact.starts_with("GZIP");
        if (absent == 0 && (gzipped || rice_tiles)) tile_streams_.push_back({column, gzipped});
    }
    fits_clear_errmsg();
    if (!tiles_.possible()) {
        return fail(problem(fmt::format("The packed image is said to have tiles of {} × {} pixels.",
                                        tiles_.tile_width_px, tiles_.tile_height_px),
                            damaged_header));
    }
    if (rice_tiles && !tile_streams_.empty() && !tile_streams_.front().gzipped && keeps_whole_numbers()) {
        rice_tiles_ = std::make_unique<RiceTiles>(
            handle_->bytes, handle_->fits,
            RiceTiles::Layout{tiles_, rice_, tile_streams_.front().column, scaling_});
    }
    return {};
}

// Of the table of tiles: nothing in it scales or blanks the codes, and they are as long as the pixels.
bool FitsImage::keeps_whole_numbers() const {
    for (const char* name : {"ZSCALE", "ZZERO", "ZBLANK"}) {
        std::string exact(name);
        int column = 0, absent = 0;
        fits_get_colnum(handle_->fits, CASEINSEN, exact.data(), &column, &absent);
        fits_clear_errmsg();
        if (absent == 0) return false;
    }
    for (const char* name : {"ZSCALE", "ZZERO"}) {
        char value[FLEN_VALUE] = {};
        int absent = 0;
        fits_read_keyword(handle_->fits, name, value, nullptr, &absent);
        fits_clear_errmsg();
        if (absent == 0) return false;
    }
    return bits_ > 0 && static_cast<std::size_t>(bits_ / 8) == rice_.bytes_per_pixel;
}

// Whether the bytes that the header announces are all there: in the file, or in what a packed file unpacks
// to.
Result<void> FitsImage::check_length() {
    long long needed = data_offset_;
    if (tile_compressed_) {
        LONGLONG row_bytes = 0, rows = 0, heap_bytes = 0;
        int status = 0;
        fits_read_key(handle_->fits, TLONGLONG, "NAXIS1", &row_bytes, nullptr, &status);
        fits_read_key(handle_->fits, TLONGLONG, "NAXIS2", &rows, nullptr, &status);
        fits_read_key(handle_->fits, TLONGLONG, "PCOUNT", &heap_bytes, nullptr, &status);
        if (status != 0) return fail(library_problem(status));
        const double sum =
            static_cast<double>(row_bytes) * static_cast<double>(rows) + static_cast<double>(heap_bytes);
        if (row_bytes < 0 || rows < 0 || heap_bytes < 0 || sum > 1e15) {
            return fail(problem("The table of packed tiles has an impossible size.", save_again));
        }
        needed += row_bytes * rows + heap_bytes;
    } else {
        needed += static_cast<long long>(std::abs(bits_) / 8) * width_ * height_ * planes_;
    }
    const long long there = handle_->bytes.size();
    if (needed <= there) return {};
    return fail(
        problem(fmt::format("The file is cut short: {} of {} bytes are there.", there, needed), copy_again));
}

std::string FitsImage::pixel_type() const {
    if (bits_ == 16 && scaling_.zero == 32768.0 && scaling_.scale == 1.0) return "uint16";
    if (bits_ == 32 && scaling_.zero == 2147483648.0 && scaling_.scale == 1.0) return "uint32";
    if (bits_ == 8) return "uint8";
    return bits_ > 0 ? fmt::format("int{}", bits_) : fmt::format("float{}", -bits_);
}

Result<std::vector<Cutout>> FitsImage::read(int plane, const std::vector<PixelBox>& boxes) const {
    std::vector<Cutout> cutouts(boxes.size());
    for (std::size_t i = 0; i < boxes.size(); ++i) {
        cutouts[i].box = boxes[i];
        cutouts[i].adu.resize(static_cast<std::size_t>(boxes[i].width) *
                              static_cast<std::size_t>(boxes[i].height));
    }
    if (tile_compressed_ && cutouts.size() > 1) {
        if (auto good = read_tiles(plane, cutouts); !good) return fail(good.error());
        return cutouts;
    }
    // In the order of rows, so that a disk need not seek back.
    std::vector<Cutout*> in_order;
    for (Cutout& cutout : cutouts) {
        if (!cutout.box.empty()) in_order.push_back(&cutout);
    }
    std::stable_sort(in_order.begin(), in_order.end(),
                     [](const Cutout* a, const Cutout* b) { return a->box.y0 < b->box.y0; });
    for (Cutout* cutout : in_order) {
        if (auto good = read_into(plane, cutout->box, cutout->adu.data()); !good) return fail(good.error());
    }
    return cutouts;
}

Result<void> FitsImage::read_into(int plane, const PixelBox& box, float* adu) const {
    return plain_ ? read_plain(plane, box, adu) : read_packed(plane, box, adu);
}

Result<void> FitsImage::take_bytes(long long offset, std::size_t n, unsigned char* bytes) const {
    const std::span into(reinterpret_cast<char*>(bytes), n);
    if (handle_->bytes.read(offset, into) == n) return {};
    return fail(problem("The file ended while it was read.", "Is it still being written? Try again."));
}

Result<void> FitsImage::read_bytes(int y, int rows, unsigned char* bytes) const {
    const long long row_bytes = static_cast<long long>(width_) * (std::abs(bits_) / 8);
    return take_bytes(data_offset_ + y * row_bytes, static_cast<std::size_t>(rows * row_bytes), bytes);
}

Result<void> FitsImage::read_plain(int plane, const PixelBox& box, float* adu) const {
    const auto pixel_bytes = static_cast<std::size_t>(std::abs(bits_) / 8);
    const auto columns = static_cast<std::size_t>(box.width);
    std::vector<unsigned char> row(columns * pixel_bytes);
    for (int y = 0; y < box.height; ++y) {
        const long long pixel = (static_cast<long long>(plane) * height_ + box.y0 + y) * width_ + box.x0;
        const long long offset = data_offset_ + pixel * static_cast<long long>(pixel_bytes);
        if (auto good = take_bytes(offset, row.size(), row.data()); !good) return good;
        unpack_pixels(bits_, row.data(), columns, scaling_, adu + static_cast<std::size_t>(y) * columns);
    }
    return {};
}

// A damaged stream of gzip would keep cfitsio busy for ever.
Result<void> FitsImage::check_tiles(int plane, const PixelBox& box) const {
    std::vector<unsigned char> bytes;
    const auto ends = [&](const TileStream& stream, int row, int column) {
        LONGLONG length = 0, offset = 0;
        int status = 0;
        const LONGLONG tile = tiles_.number(plane, row, column) + 1;
        fits_read_descriptll(handle_->fits, stream.column, tile, &length, &offset, &status);
        if (status == 0 && length == 0) return true;
        if (status != 0 || length < 0 || length > handle_->bytes.size()) return false;
        bytes.resize(static_cast<std::size_t>(length));
        fits_read_col(handle_->fits, TBYTE, stream.column, tile, 1, length, nullptr, bytes.data(), nullptr,
                      &status);
        if (status != 0) return false;
        return stream.gzipped ? gzip_ends(bytes) : rice_ends(bytes, tiles_.pixels(plane, row, column), rice_);
    };
    const bool all_end = tiles_.each(box, [&](int row, int column) {
        return std::all_of(tile_streams_.begin(), tile_streams_.end(),
                           [&](const TileStream& stream) { return ends(stream, row, column); });
    });
    fits_clear_errmsg();
    if (all_end) return {};
    return fail(problem(damaged_pixels, save_again));
}

Result<void> FitsImage::read_packed(int plane, const PixelBox& box, float* adu) const {
    if (rice_tiles_) {
        const RiceTiles::Outcome outcome = rice_tiles_->read(plane, box, adu);
        if (outcome == RiceTiles::Outcome::read) return {};
        if (outcome == RiceTiles::Outcome::damaged) return fail(problem(damaged_pixels, save_again));
    }
    if (!tile_streams_.empty()) {
        if (auto good = check_tiles(plane, box); !good) return good;
    }
    long first[3] = {box.x0 + 1L, box.y0 + 1L, plane + 1L};
    long last[3] = {static_cast<long>(box.x0) + box.width, static_cast<long>(box.y0) + box.height,
                    plane + 1L};
    long step[3] = {1, 1, 1};
    float undefined = std::numeric_limits<float>::quiet_NaN();
    int any = 0, status = 0;
    fits_read_subset(handle_->fits, TFLOAT, first, last, step, &undefined, adu, &any, &status);
    const auto n = box.pixels();
    for (std::size_t i = 0; i < n; ++i) {
        if (!std::isfinite(adu[i])) adu[i] = undefined;
    }
    if (status == 0) return {};
    const bool cut = status == END_OF_FILE || status == READ_ERROR || status == DATA_DECOMPRESSION_ERR;
    if (!cut) return fail(library_problem(status));
    fits_clear_errmsg();
    return fail(problem(damaged_pixels, save_again));
}

// Tile by tile, in the order of rows; of each tile the part that the boxes need.
Result<void> FitsImage::read_tiles(int plane, std::vector<Cutout>& cutouts) const {
    struct Use {
        int row, column;  // of the tile
        Cutout* cutout;
    };
    std::vector<Use> uses;
    for (Cutout& cutout : cutouts) {
        tiles_.each(cutout.box, [&](int row, int column) {
            uses.push_back({row, column, &cutout});
            return true;
        });
    }
    const auto place = [](const Use& use) { return std::pair(use.row, use.column); };
    std::stable_sort(uses.begin(), uses.end(),
                     [&](const Use& a, const Use& b) { return place(a) < place(b); });
    for (auto use = uses.begin(); use != uses.end();) {
        const auto end =
            std::find_if(use, uses.end(), [&](const Use& other) { return place(other) != place(*use); });
        const PixelBox tile = tiles_.box(use->row, use->column);
        Cutout part;
        for (auto u = use; u != end; ++u)
            part.box = part.box.joined(u->cutout->box.shared(tile));
        part.adu.resize(part.box.pixels());
        if (auto good = read_packed(plane, part.box, part.adu.data()); !good) return fail(good.error());
        for (; use != end; ++use) {
            const PixelBox both = use->cutout->box.shared(tile);
            for (int y = both.y0; y < both.y0 + both.height; ++y)
                std::copy_n(&part.at(both.x0, y), both.width, &use->cutout->at(both.x0, y));
        }
    }
    return {};
}

}  // namespace emberline::frame
