#pragma once
/// Binary messages of protocol/STREAM.md: blocks of rows (section 2) and the series answer (section 4).
/// Little-endian, IEEE 754 binary64; NaN is written as one quiet NaN whatever its bits were.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/record/read/reader.hpp"
#include "server/serve/parse/websocket_frame.hpp"

namespace turnstone {

/// The newest row of each table, by table; empty: none yet.
using LatestRows = std::vector<std::optional<std::pair<std::int64_t, std::vector<double>>>>;

struct BlockFlags {
    bool replay = false;
    bool coalesced = false;
};

/// More rows than fit into so many bytes are divided over several messages.
inline constexpr std::size_t kBlockMessageBytes = 256u << 10;

/// Bytes that one row takes in a message.
[[nodiscard]] constexpr std::size_t row_bytes(std::size_t columns) noexcept {
    return 8 * (1 + columns);
}

/// A framed message, its number and the times it covers.
struct BlockMessage {
    WireMessage wire;
    std::uint64_t seq = 0;
    double from_t_s = 0;
    double to_t_s = 0;
};

/// Keeps its scratch between calls.
class BlockEncoder {
  public:
    /// All rows of `batch`, in each message grouped by table in the order of the tables, each table's rows in their
    /// order. The first message has the number `seq`. Empty: the batch has no rows.
    [[nodiscard]] std::vector<BlockMessage> rows(const Batch& batch, const Schema& schema, std::int64_t t_start_ns,
                                                 std::uint64_t seq, BlockFlags flags);
    /// One row per table, for a viewer that fell behind.
    [[nodiscard]] WireMessage newest(const LatestRows& latest, std::int64_t t_start_ns, std::uint64_t seq);

  private:
    /// Of the rows in `rows_of_table_`.
    [[nodiscard]] BlockMessage message(const Batch& batch, const Schema& schema, std::int64_t t_start_ns,
                                       std::uint64_t seq, BlockFlags flags) const;

    std::vector<std::vector<const RowRecord*>> rows_of_table_;
};

/// "TSS1...": see STREAM.md section 4.
[[nodiscard]] std::string encode_series(const SeriesBlock& block, TableId table, std::size_t columns,
                                        std::int64_t t_start_ns);

} // namespace turnstone
