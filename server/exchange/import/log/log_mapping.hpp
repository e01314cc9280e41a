#pragma once
/// What the columns of an on-board log mean: log.json of a vehicle's folder. The log is text with a separator between
/// values and a header line, as protocol/TEXT.md reads it. Schema: protocol/schema/log.schema.json.
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "protocol/dictionary/dictionary.hpp"
#include "server/pipeline/setup.hpp"
#include "shared/json_reader.hpp"
#include "shared/words.hpp"

namespace turnstone::exchange {

inline constexpr const char* kLogMappingFile = "log.json";

enum class TimeUnit : unsigned char { s, ms, us };
consteval auto words_of(TimeUnit) {
    return words<TimeUnit::us>("s", "ms", "us");
}

struct LogColumn {
    std::string column; ///< as the header has it
    std::string channel =
        {};                 ///< of the dictionary that it is the same quantity as: "baro.static_pressure"; empty: none
    std::string title = {}; ///< empty: made from the column's name
    std::string unit = {};  ///< UCUM, of gain * value + offset; empty: the channel's, or 1
    double gain = 1, offset = 0;
    bool is_text = false;
};

struct LogMapping {
    std::string title;
    char separator = ',';
    char decimal = '.';
    std::string time_column;
    TimeUnit time_unit = TimeUnit::ms;
    bool time_is_onboard = false; ///< it is what the packets carry: since the same boot
    std::vector<LogColumn> columns;
};

[[nodiscard]] std::optional<LogMapping> read_log_mapping(const nlohmann::json& json, const std::string& file,
                                                         std::vector<Problem>& problems);
[[nodiscard]] nlohmann::json to_json(const LogMapping& mapping);

/// What the names in a header line suggest, for a person to look at: the time column, and for each other column the
/// channel of its name.
[[nodiscard]] LogMapping proposed_mapping(const std::vector<std::string>& columns, char separator,
                                          const Dictionary& dictionary);

/// A channel of the dictionary and its table; "TABLE.CHANNEL", the vehicle's name before it or not.
struct ChannelPlace {
    const ChannelTable* table;
    const Channel* channel;
};
[[nodiscard]] std::optional<ChannelPlace> find_channel(const Dictionary& dictionary, std::string_view name);

/// The vehicle with one packet more, which the lines of the log are, and its name. Accelerations, turn rates and
/// pressures get their channels' roles, where the estimators choose between two sensors; other roles would be counted
/// twice.
struct VehicleWithLog {
    VehicleSetup vehicle;
    std::string packet;
};
[[nodiscard]] Result<VehicleWithLog> with_log_packet(const VehicleSetup& vehicle, const LogMapping& mapping);

} // namespace turnstone::exchange
