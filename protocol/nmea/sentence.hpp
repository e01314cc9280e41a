#pragma once
/// The parts of an NMEA 0183 sentence (IEC 61162-1): talker, formatter, fields; and what the fields hold. No
/// allocation.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

#include "shared/constants.hpp"

namespace turnstone {

inline constexpr std::size_t kSentenceFieldsMax = 64;

struct NmeaSentence {
    std::string_view talker;    ///< "GP"; "P": a maker's own
    std::string_view formatter; ///< "GGA"; of a maker's own all that follows the P
    std::array<std::string_view, kSentenceFieldsMax> fields;
    std::size_t count = 0; ///< of fields; those beyond are left out
    [[nodiscard]] std::string_view field(std::size_t k) const noexcept { return k < count ? fields[k] : ""; }
};

/// `text` from $ or ! to before *. Empty for what has no address.
[[nodiscard]] std::optional<NmeaSentence> split_sentence(std::string_view text) noexcept;

/// Reads fields; what is there and cannot be makes the whole sentence wrong.
class FieldReader {
  public:
    explicit FieldReader(const NmeaSentence& sentence) : sentence_(&sentence) {}

    /// A decimal number; NaN for an empty field.
    double number(std::size_t k, double least, double greatest) noexcept;
    /// The first character; 0 for an empty field.
    [[nodiscard]] char letter(std::size_t k) const noexcept {
        const std::string_view text = sentence_->field(k);
        return text.empty() ? '\0' : text[0];
    }
    /// hhmmss.ss in seconds since midnight; up to 86,401 in a leap second. NaN for an empty field.
    double time_of_day(std::size_t k) noexcept;
    /// ddmmyy in days since 1970-01-01; years 80 to 99 are of the last century. Empty for an empty field.
    std::optional<std::int64_t> date(std::size_t k) noexcept;
    /// Day, month and year with four digits in fields of their own.
    std::optional<std::int64_t> date_apart(std::size_t k) noexcept;
    /// ddmm.mmm and N or S in the next field, degrees; NaN for empty fields.
    double latitude(std::size_t k) noexcept { return angle(k, 2, 90, 'N', 'S'); }
    double longitude(std::size_t k) noexcept { return angle(k, 3, 180, 'E', 'W'); }

    void demand(bool holds) noexcept { good_ = good_ && holds; }
    [[nodiscard]] bool good() const noexcept { return good_; }

  private:
    double angle(std::size_t k, std::size_t degree_digits, double greatest, char positive, char negative) noexcept;

    const NmeaSentence* sentence_;
    bool good_ = true;
};

/// Days since 1970-01-01 of the Gregorian calendar; empty for a day that is none, or outside 1900 to 2200: nanoseconds
/// of a farther one do not fit.
[[nodiscard]] std::optional<std::int64_t> days_since_1970(int year, int month, int day) noexcept;

/// A decimal number as sentences have it: sign, digits, point, digits. Empty for anything else.
[[nodiscard]] std::optional<double> decimal_number(std::string_view text) noexcept;

} // namespace turnstone
