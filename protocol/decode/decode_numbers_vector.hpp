#pragma once
/// decode_numbers() with vectors of four doubles, where the processor has them. Inner part of the decoder.
#include <cstddef>
#include <cstdint>
#include <vector>

#include "protocol/decode/decode_plan.hpp"

namespace turnstone {

/// A vector may write this many numbers beyond the last row.
inline constexpr std::size_t kSpareNumbers = 3;

/// One row's number channels, ready for decoding; the numbers are bit for bit those of decode_numbers().
class VectorRow {
  public:
    /// `bytes_before`: of the packet, before a row's base (in a batch: the first sample's). `bytes_to_end`: from the
    /// base (in a batch: the last sample's) to the end of the packet. Nothing outside is read.
    VectorRow(std::vector<NumberStep> row, std::size_t bytes_before, std::size_t bytes_to_end);
    VectorRow(VectorRow&&) noexcept;
    ~VectorRow();

    [[nodiscard]] std::size_t size() const noexcept { return row_.size(); }
    /// As decode_numbers(), but `values` holds kSpareNumbers more.
    void decode(const RowSeries& series, double* values, std::uint64_t* marks) const noexcept;

  private:
    struct Quad;
    std::vector<NumberStep> row_;
    std::vector<Quad> quads_; ///< empty on a processor without these vectors
    bool may_overflow_ = false;
};

} // namespace turnstone
