#include "server/record/format/rollup_bin.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>

namespace turnstone {

static_assert(std::endian::native == std::endian::little, "doubles are stored as they lie in memory");

namespace {

enum class Content : unsigned char { nothing, constant, counts, reals };

/// Sums of counts stay whole numbers in a double.
constexpr double kSumMax = 0x1p53;
/// In steps: more than rounding while adding, far less than a mean is looked at for.
constexpr double kSumError = 1e-3;

class BinWriter {
  public:
    explicit BinWriter(std::vector<std::byte>& out) : out_(out) { out_.clear(); }
    void put(Content content, std::uint64_t missing) { put(missing << 2 | static_cast<std::uint64_t>(content)); }
    void put(std::uint64_t value) {
        for (; value >= 0x80; value >>= 7) out_.push_back(static_cast<std::byte>(value | 0x80));
        out_.push_back(static_cast<std::byte>(value));
    }
    void put_signed(std::int64_t value) {
        put(static_cast<std::uint64_t>(value) << 1 ^ static_cast<std::uint64_t>(value >> 63));
    }
    void put(double value) {
        const auto octets = std::bit_cast<std::array<std::byte, sizeof(double)>>(value);
        out_.insert(out_.end(), octets.begin(), octets.end());
    }

  private:
    std::vector<std::byte>& out_;
};

/// Past the end it gives zeros and is no longer good.
class BinReader {
  public:
    explicit BinReader(std::span<const std::byte> data) : data_(data) {}
    std::uint8_t octet() {
        if (at_ >= data_.size()) {
            good_ = false;
            return 0;
        }
        return std::to_integer<std::uint8_t>(data_[at_++]);
    }
    std::uint64_t integer() {
        std::uint64_t value = 0;
        for (unsigned shift = 0; shift < 64; shift += 7) {
            const std::uint8_t next = octet();
            value |= static_cast<std::uint64_t>(next & 0x7f) << shift;
            if (next < 0x80) return value;
        }
        good_ = false;
        return value;
    }
    double count() {
        const std::uint64_t value = integer();
        return static_cast<double>(static_cast<std::int64_t>(value >> 1 ^ (~(value & 1) + 1)));
    }
    double real() {
        double value = 0;
        if (data_.size() - at_ < sizeof(value)) {
            good_ = false;
            at_ = data_.size();
        } else {
            std::memcpy(&value, data_.data() + at_, sizeof(value));
            at_ += sizeof(value);
        }
        return value;
    }
    [[nodiscard]] bool good() const { return good_; }
    [[nodiscard]] bool at_end() const { return at_ == data_.size(); }

  private:
    std::span<const std::byte> data_;
    std::size_t at_ = 0;
    bool good_ = true;
};

void encode_column(const RollupBin& bin, std::size_t c, const ColumnCode& code, BinWriter& out) {
    const std::uint32_t count = bin.count[c];
    const std::uint64_t missing = bin.rows - count;
    if (count == 0) {
        out.put(Content::nothing, missing);
        return;
    }
    const double steps = (bin.sum[c] - count * code.zero) / code.step, sum = std::round(steps);
    const auto first = code.count_of(bin.min[c]), second = code.count_of(bin.max[c]);
    if (!first || !second || !(std::abs(sum) < kSumMax && std::abs(steps - sum) < kSumError)) {
        out.put(Content::reals, missing);
        out.put(bin.min[c]);
        out.put(bin.max[c]);
        out.put(bin.sum[c]);
        return;
    }
    const std::int64_t least = std::min(*first, *second),
                       greatest = std::max(*first, *second); // a step may be negative
    if (least == greatest) {
        out.put(Content::constant, missing);
        out.put_signed(least);
        return;
    }
    out.put(Content::counts, missing);
    out.put_signed(least);
    out.put(static_cast<std::uint64_t>(greatest - least));
    out.put_signed(static_cast<std::int64_t>(sum - static_cast<double>(least) * count));
}

void decode_column(BinReader& in, std::size_t c, const ColumnCode& code, RollupBin& bin) {
    const std::uint64_t head = in.integer();
    const auto content = static_cast<Content>(head & 3);
    const auto count = static_cast<std::uint32_t>(bin.rows - std::min<std::uint64_t>(head >> 2, bin.rows));
    const auto value_of = [&code](double steps) { return code.zero + code.step * steps; };
    bin.count[c] = content == Content::nothing ? 0 : count;
    if (content == Content::reals) {
        bin.min[c] = in.real();
        bin.max[c] = in.real();
        bin.sum[c] = in.real();
        return;
    }
    if (content == Content::nothing) return;
    const double least = in.count();
    const bool constant = content == Content::constant;
    const double greatest = constant ? least : least + static_cast<double>(in.integer());
    const double sum = (constant ? 0 : in.count()) + least * count;
    bin.min[c] = value_of(code.step < 0 ? greatest : least);
    bin.max[c] = value_of(code.step < 0 ? least : greatest);
    bin.sum[c] = count * code.zero + code.step * sum;
}

} // namespace

RollupBin::RollupBin(std::size_t columns) : count(columns), min(columns), max(columns), sum(columns) {
    clear();
}

void RollupBin::clear() noexcept {
    rows = 0;
    std::ranges::fill(count, 0U);
    std::ranges::fill(min, std::numeric_limits<double>::infinity());
    std::ranges::fill(max, -std::numeric_limits<double>::infinity());
    std::ranges::fill(sum, 0.0);
}

void RollupBin::add(std::span<const double> numbers) noexcept {
    ++rows;
    for (std::size_t c = 0; c < numbers.size(); ++c) {
        const double value = numbers[c];
        // Comparisons with NaN are false: it leaves min and max alone and is left out of the sum.
        const bool valid = value == value;
        min[c] = value < min[c] ? value : min[c];
        max[c] = value > max[c] ? value : max[c];
        sum[c] += valid ? value : 0.0;
        count[c] += valid ? 1U : 0U;
    }
}

void RollupBin::merge(const RollupBin& other) noexcept {
    rows += other.rows;
    for (std::size_t c = 0; c < count.size(); ++c) {
        if (other.count[c] == 0) continue;
        min[c] = std::min(min[c], other.min[c]);
        max[c] = std::max(max[c], other.max[c]);
        sum[c] += other.sum[c];
        count[c] += other.count[c];
    }
}

void encode_bin(const RollupBin& bin, std::span<const ColumnCode> codes, std::vector<std::byte>& out) {
    BinWriter writer(out);
    for (std::size_t c = 0; c < codes.size(); ++c) encode_column(bin, c, codes[c], writer);
}

bool decode_bin(std::span<const std::byte> data, std::int64_t rows, std::span<const ColumnCode> codes, RollupBin& bin) {
    BinReader reader(data);
    bin.rows = static_cast<std::uint32_t>(rows);
    for (std::size_t c = 0; c < codes.size(); ++c) decode_column(reader, c, codes[c], bin);
    return reader.good() && reader.at_end();
}

bool decode_bin_1(std::span<const std::byte> data, std::int64_t rows, std::size_t columns, RollupBin& bin) {
    if (data.size() != columns * (sizeof(std::uint32_t) + 3 * sizeof(double))) return false;
    bin.rows = static_cast<std::uint32_t>(rows);
    const std::byte* from = data.data();
    const auto get = [&from](auto& values) {
        const std::size_t octets = values.size() * sizeof(values[0]);
        if (octets > 0) std::memcpy(values.data(), from, octets);
        from += octets;
    };
    get(bin.count);
    get(bin.min);
    get(bin.max);
    get(bin.sum);
    return true;
}

} // namespace turnstone
