#include "server/serve/join_code.hpp"

#include <memory>
#include <stdexcept>

#include <fmt/format.h>
#include <qrencode.h>

namespace turnstone {

namespace {

constexpr int kQuiet = 4;

/// The modules of a code with its quiet zone.
class Modules {
  public:
    explicit Modules(std::string_view text)
        : code_(QRcode_encodeString8bit(std::string(text).c_str(), 0, QR_ECLEVEL_M), &QRcode_free) {
        if (!code_) throw std::length_error("too long for a QR code: " + std::string(text));
    }
    [[nodiscard]] int size() const noexcept { return code_->width + 2 * kQuiet; }
    [[nodiscard]] bool is_dark(int x, int y) const noexcept {
        const int column = x - kQuiet, row = y - kQuiet, width = code_->width;
        if (column < 0 || row < 0 || column >= width || row >= width) return false;
        return (code_->data[row * width + column] & 1U) != 0;
    }

  private:
    std::unique_ptr<QRcode, decltype(&QRcode_free)> code_;
};

} // namespace

std::string join_link(std::string_view address) {
    return std::string(address) + "#/watch";
}

std::string qr_svg(std::string_view text) {
    const Modules modules(text);
    std::string path;
    for (int y = 0; y < modules.size(); ++y) {
        for (int x = 0; x < modules.size(); ++x) {
            if (!modules.is_dark(x, y)) continue;
            int end = x + 1;
            while (modules.is_dark(end, y)) ++end;
            path += fmt::format("M{} {}h{}v1h-{}z", x, y, end - x, end - x);
            x = end;
        }
    }
    return fmt::format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0} {0}\" shape-rendering=\"crispEdges\">"
        "<rect width=\"{0}\" height=\"{0}\" fill=\"#fff\"/><path d=\"{1}\" fill=\"#000\"/></svg>\n",
        modules.size(), path);
}

std::string qr_terminal(std::string_view text) {
    const Modules modules(text);
    std::string out;
    for (int y = 0; y < modules.size(); y += 2) {
        out += "\x1b[30;47m"; // black on white
        for (int x = 0; x < modules.size(); ++x) {
            const bool upper = modules.is_dark(x, y), lower = modules.is_dark(x, y + 1);
            out += upper && lower ? "\u2588" : upper ? "\u2580" : lower ? "\u2584" : " ";
        }
        out += "\x1b[0m\n";
    }
    return out;
}

} // namespace turnstone
