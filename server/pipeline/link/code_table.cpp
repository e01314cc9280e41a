#include "server/pipeline/link/code_table.hpp"

#include <limits>

#include "server/pipeline/link/link_framing.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr const char* kCodeGroup = "Link";
constexpr double kNoFigure = std::numeric_limits<double>::quiet_NaN();

double number(std::uint64_t count) {
    return static_cast<double>(count);
}
/// Of what came in the second; NaN when nothing did.
double fraction(std::uint64_t part, std::uint64_t of) {
    return of == 0 ? kNoFigure : number(part) / number(of);
}

} // namespace

TableOf<CodePeriod> code_table() {
    using S = const CodePeriod&;
    TableOf<CodePeriod> table{"", "Code", seconds_between(0, kNsPerS)};
    const auto decoded = [](S s) { return s.now.symbols_checked > s.before.symbols_checked; };
    table.add({"frames", "Transfer frames", "1", "", 0, "Good ones"}, [](S s) { return number(s.now.frames); })
        .add({"frames_lost", "Transfer frames lost", "1", kCodeGroup, 0, "By the counts of the virtual channels"},
             [](S s) { return number(s.now.frames_lost); })
        .add({"packets_cut", "Packets cut", "1", "", 0, "Started in a frame, and not ended"},
             [](S s) { return number(s.now.packets_cut); })
        .add({"corrected", "Corrected symbols", "1", kCodeGroup, 0, "Of Reed-Solomon codewords, in all"},
             [](S s) { return number(s.now.symbols_corrected); })
        .add({"symbol_errors", "Symbol errors", "1", kCodeGroup, 5, "Fraction of the symbols, before correction"},
             [](S s) {
                 return fraction(s.now.symbols_corrected - s.before.symbols_corrected,
                                 s.now.symbols_checked - s.before.symbols_checked);
             })
        .add({"margin", "Correction margin", "1", kCodeGroup, 0,
              "Symbols that could still have been wrong in the worst codeword of the last second"},
             [decoded](S s) {
                 return decoded(s) ? static_cast<double>(s.correctable) - static_cast<double>(s.now.worst_corrected)
                                   : kNoFigure;
             })
        .add({"channel_errors", "Channel symbol errors", "1", kCodeGroup, 4,
              "Fraction of the symbols of the convolutional code, before decoding"},
             [](S s) {
                 return fraction(s.now.channel_errors - s.before.channel_errors,
                                 s.now.channel_symbols - s.before.channel_symbols);
             })
        .add({"marker_errors", "Wrong bits in the newest marker", "1", "", 0},
             [](S s) { return s.now.frames == 0 ? kNoFigure : static_cast<double>(s.now.marker_errors); })
        .add({"bit_slips", "Bit slips", "1", "", 0, "Markers a few bits off their place"},
             [](S s) { return number(s.now.bit_slips); })
        .add({"inverted", "Inverted polarity", "1", "", 0},
             [](S s) { return s.now.frames == 0 ? kNoFigure : (s.now.is_inverted ? 1.0 : 0.0); })
        .add({"control_field", "Operational control field", "1", "", 0, "The newest"},
             [](S s) { return s.now.control_field ? static_cast<double>(*s.now.control_field) : kNoFigure; });
    return table;
}

std::optional<unsigned> code_of_link(const std::string& uri) {
    const Framing framing = link_framing(uri);
    const auto* tm = std::get_if<TmFraming>(&framing);
    return tm == nullptr ? std::nullopt : std::optional(tm->format.correctable);
}

} // namespace turnstone
