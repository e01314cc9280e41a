#pragma once
/// The description of everything numeric Turnstone makes. Packets, sample batches, estimators and link statistics are
/// all the same thing: a table of named columns with rows in time. The recorder makes one SQL table of each, the stream
/// sends them in column blocks, the dashboard draws them. None of the three knows what a packet or an estimator is.
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "server/estimate/table.hpp"

namespace turnstone {

using TableId = std::uint16_t;

enum class TableKind : unsigned char { packet, batch, estimate, link };
consteval auto words_of(TableKind) {
    return words<TableKind::link>("packet", "batch", "estimate", "link");
}

struct Table {
    TableId id = 0; ///< its index in Schema::tables
    /// "<vehicle>/<packet>", "<vehicle>/<packet>.<batch>", "<vehicle>/estimate/<name>", "<vehicle>/charge/<name>",
    /// "link/…"
    std::string name;
    std::string title;
    TableKind kind = TableKind::packet;
    int vehicle = -1;            ///< index into the setup's vehicles; -1: none
    double period_s = 0;         ///< expected between rows; 0: sporadic
    std::vector<Column> columns; ///< number columns first, text columns after them
    std::size_t number_count = 0;
};

/// Constant for the life of a pipeline.
struct Schema {
    std::vector<Table> tables;
};

} // namespace turnstone
