#pragma once
/// Which columns of a recording's tables are meant, by words that people type.
#include <string>
#include <vector>

#include "server/record/read/reader.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

/// A word is the name of a column ("sanderling/estimate/vertical.altitude_m"), of a table ("sanderling/imu"), or what
/// names of tables begin with up to a "/" ("sanderling/estimate", "sanderling"). `vehicle` may be left off its tables'
/// names; with it and no word, all of its tables are meant, without both, every table. Tables and columns in their
/// order, each once.
[[nodiscard]] Result<std::vector<ColumnChoice>>
choose_columns(const Schema& schema, const std::vector<std::string>& words, const std::string& vehicle);

/// "a,b" to its words; blanks around them do not count.
[[nodiscard]] std::vector<std::string> words_in(std::string_view list);

} // namespace turnstone::exchange
