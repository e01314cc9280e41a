#pragma once
/// Lines of values to rows of one packet of the dictionary: protocol/TEXT.md. Columns are the packet's fields in their
/// order, or as a header line names them. Fixed memory once made.
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/decode/named_row.hpp"
#include "protocol/dictionary/dictionary.hpp"
#include "protocol/lines/line_values.hpp"

namespace turnstone {

class LineDecoder {
  public:
    /// `packet`: the name of one of the dictionary's; empty: its first. The dictionary must outlive it.
    LineDecoder(const Dictionary& dictionary, const std::string& packet, char separator, char decimal);

    /// `line`: Frame::packet of a LineDeframer. The result is valid until the next call.
    [[nodiscard]] DecodedPacket decode(std::span<const std::byte> line) noexcept;

  private:
    enum class Kind : unsigned char { number, integer, time, text };
    struct Column {
        Kind kind;
        std::size_t place; ///< among the packet's fields
        bool is_time;      ///< the packet's own
        TimeCode code;     ///< of a time
    };
    /// True when the line is a header: words of which one at least is a column's, and no number among them.
    bool take_header(std::span<const std::string_view> values) noexcept;
    [[nodiscard]] DecodedPacket result(DecodeVerdict verdict) const noexcept;

    const Dictionary* dictionary_;
    char separator_, decimal_;
    std::optional<std::size_t> packet_; ///< empty: the dictionary has none that a line can be
    NamedRow row_;
    std::vector<std::string_view> names_; ///< of the fields
    std::vector<Column> fields_;
    std::vector<std::int16_t> order_; ///< of the line's columns: which field; -1: none of ours
    std::size_t columns_ = 0;         ///< of a line; order_ has room for more
    std::uint16_t count_ = 0;
    LineValues values_;
    DecodedRow decoded_{};
};

/// Appends why lines could not be this packet of the dictionary: there is none of that name, or it has groups or
/// arrays.
void check_line_dictionary(const Dictionary& dictionary, const std::string& packet, const std::string& file,
                           std::vector<Problem>& problems);

} // namespace turnstone
