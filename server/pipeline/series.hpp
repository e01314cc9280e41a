#pragma once
/// The description of everything numeric Turnstone makes. Packets, sample batches, estimators and link statistics are
/// all the same thing: a table of named columns with rows in time. The recorder makes one SQL table of each, the stream
/// sends them in column blocks, the dashboard draws them; none of the three knows what a packet or an estimator is.
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "protocol/dictionary/roles.hpp"

namespace turnstone {

using TableId = std::uint16_t;

enum class TableKind : unsigned char { packet, batch, estimate, link };

struct Column {
    std::string name; ///< snake_case with unit where one applies: "altitude_m", "accel_body_x"
    std::string description;
    std::string unit;  ///< UCUM; "1" when dimensionless
    std::string group; ///< display group; empty: not shown by default
    int decimals = 2;
    bool is_text = false;
    std::optional<std::pair<double, double>> valid_range;
    std::map<std::int64_t, std::string> enumeration; ///< value to word; empty: a plain number
    std::optional<Role> role;
    std::string sigma_column; ///< name of the column of the same table that holds its 1-sigma; empty: none
};

struct Table {
    TableId id = 0; ///< its index in Schema::tables
    std::string
        name; ///< "<vehicle>/<packet>", "<vehicle>/<packet>.<batch>", "<vehicle>/estimate/<name>", "link/<name>"
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
