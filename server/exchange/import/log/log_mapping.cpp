#include "server/exchange/import/log/log_mapping.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <set>

#include <nlohmann/json.hpp>

#include "protocol/lines/line_values.hpp"
#include "protocol/text/column_name.hpp"
#include "protocol/text/ucum.hpp"

namespace turnstone::exchange {

namespace {

using nlohmann::json;

constexpr double kFactorMost = 1e12;

struct Spelled {
    std::string_view word;
    char character;
};
constexpr std::array<Spelled, 4> kSeparators{{{",", ','}, {";", ';'}, {"tab", '\t'}, {"space", ' '}}};
constexpr std::array<Spelled, 2> kDecimals{{{"point", '.'}, {"comma", ','}}};

template <std::size_t count>
std::vector<std::string_view> words_in(const std::array<Spelled, count>& spelled) {
    std::vector<std::string_view> words;
    for (const Spelled& each : spelled) words.push_back(each.word);
    return words;
}

template <std::size_t count>
std::string_view word_in(const std::array<Spelled, count>& spelled, char character) {
    return std::ranges::find(spelled, character, &Spelled::character)->word;
}

LogColumn read_column(JsonReader reader) {
    LogColumn out;
    out.column = reader.text("column");
    out.channel = reader.text_or("channel", "");
    out.title = reader.text_or("title", "");
    out.unit = reader.text_or("unit", "");
    out.gain = reader.number_or("gain", -kFactorMost, kFactorMost, 1);
    out.offset = reader.number_or("offset", -kFactorMost, kFactorMost, 0);
    out.is_text = reader.boolean_or("is_text", false);
    if (column_name(out.column).empty())
        reader.problem_at("column", "has no letter or digit", "give a column of the log's header line");
    if (!out.unit.empty() && !is_ucum_unit(out.unit))
        reader.problem_at("unit", "is \"" + out.unit + "\"", "expected a UCUM unit, such as Pa or m/s2");
    if (out.gain == 0) reader.problem_at("gain", "is 0", "leave it out where the values are in the unit already");
    reader.finish();
    return out;
}

} // namespace

std::optional<LogMapping> read_log_mapping(const json& given, const std::string& file, std::vector<Problem>& problems) {
    const std::size_t before = problems.size();
    JsonReader reader(given, file, problems);
    LogMapping out;
    reader.ignore("$schema");
    out.title = reader.text_or("title", "");
    out.separator = kSeparators[reader.choice_or("separator", words_in(kSeparators), 0)].character;
    out.decimal = kDecimals[reader.choice_or("decimal", words_in(kDecimals), 0)].character;
    if (out.separator == out.decimal)
        reader.problem_at("decimal", "is the separator too", "give the log another separator");
    if (auto time = reader.object("time")) {
        out.time_column = time->text("column");
        out.time_unit = static_cast<TimeUnit>(time->choice("unit", {kWords<TimeUnit>.begin(), kWords<TimeUnit>.end()}));
        out.time_is_onboard = time->boolean_or("is_onboard", false);
        time->finish();
    }
    std::set<std::string> names{column_name(out.time_column)};
    for (JsonReader& column : reader.array("columns", 1, kLineValuesMax - 1)) {
        out.columns.push_back(read_column(column));
        if (!names.insert(column_name(out.columns.back().column)).second)
            column.problem_at("column", "\"" + out.columns.back().column + "\" appears twice",
                              "give each column once; case, blanks and signs do not tell two apart");
    }
    reader.finish();
    return problems.size() == before ? std::optional(std::move(out)) : std::nullopt;
}

json to_json(const LogMapping& mapping) {
    json columns = json::array();
    for (const LogColumn& column : mapping.columns) {
        json one = {{"column", column.column}};
        if (!column.channel.empty()) one["channel"] = column.channel;
        if (!column.title.empty()) one["title"] = column.title;
        if (!column.unit.empty()) one["unit"] = column.unit;
        if (column.gain != 1) one["gain"] = column.gain;
        if (column.offset != 0) one["offset"] = column.offset;
        if (column.is_text) one["is_text"] = true;
        columns.push_back(std::move(one));
    }
    json out = {
        {"separator", word_in(kSeparators, mapping.separator)},
        {"decimal", word_in(kDecimals, mapping.decimal)},
        {"time",
         {{"column", mapping.time_column}, {"unit", word(mapping.time_unit)}, {"is_onboard", mapping.time_is_onboard}}},
        {"columns", std::move(columns)}};
    if (!mapping.title.empty()) out["title"] = mapping.title;
    return out;
}

LogMapping proposed_mapping(const std::vector<std::string>& columns, char separator, const Dictionary& dictionary) {
    LogMapping out;
    out.separator = separator;
    const auto unit_of = [](std::string_view name) {
        return name.ends_with("_us") ? TimeUnit::us : name.ends_with("_ms") ? TimeUnit::ms : TimeUnit::s;
    };
    std::set<std::string> names;
    for (const std::string& column : columns) {
        const std::string name = column_name(column);
        if (name.empty() || !names.insert(name).second) continue; // it cannot be told from another
        const bool is_time =
            out.time_column.empty() && (name.starts_with("time") || name == "t" || name.starts_with("t_"));
        if (is_time) {
            out.time_column = column;
            out.time_unit = unit_of(name);
            continue;
        }
        LogColumn one{.column = column};
        for (const ChannelTable& table : dictionary.tables)
            for (const Channel& channel : table.channels)
                if (one.channel.empty() && !channel.is_text() && channel.name == name)
                    one.channel = table.name + "." + channel.name;
        out.columns.push_back(std::move(one));
    }
    return out;
}

std::optional<ChannelPlace> find_channel(const Dictionary& dictionary, std::string_view name) {
    if (name.starts_with(dictionary.vehicle) && name.substr(dictionary.vehicle.size()).starts_with('/'))
        name.remove_prefix(dictionary.vehicle.size() + 1);
    const std::size_t dot = name.rfind('.');
    if (dot == std::string_view::npos) return std::nullopt;
    for (const ChannelTable& table : dictionary.tables)
        for (const Channel& channel : table.channels)
            if (table.name == name.substr(0, dot) && channel.name == name.substr(dot + 1))
                return ChannelPlace{&table, &channel};
    return std::nullopt;
}

} // namespace turnstone::exchange
