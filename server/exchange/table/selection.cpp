#include "server/exchange/table/selection.hpp"

#include <algorithm>
#include <string_view>

#include <fmt/format.h>

namespace turnstone::exchange {

namespace {

/// Whether `name` is `word`, or begins with it up to one of its borders.
bool begins_with_word(std::string_view name, std::string_view word) {
    return name.starts_with(word) &&
           (name.size() == word.size() || name[word.size()] == '/' || name[word.size()] == '.');
}

std::string names_of(const Schema& schema) {
    constexpr std::size_t kNamed = 40;
    std::string names;
    for (std::size_t i = 0; i < std::min(schema.tables.size(), kNamed); ++i)
        names += (i == 0 ? "" : ", ") + schema.tables[i].name;
    return names + (schema.tables.size() > kNamed ? ", ..." : "");
}

} // namespace

Result<std::vector<ColumnChoice>> choose_columns(const Schema& schema, const std::vector<std::string>& words,
                                                 const std::string& vehicle) {
    std::vector<bool> found(words.size());
    std::vector<ColumnChoice> choices;
    for (const Table& table : schema.tables) {
        ColumnChoice choice{table.id, {}};
        const bool is_of_vehicle = vehicle.empty() || begins_with_word(table.name, vehicle);
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            const std::string name = table.name + "." + table.columns[c].name;
            bool chosen = words.empty() && is_of_vehicle;
            for (std::size_t w = 0; w < words.size(); ++w) {
                const bool meant = begins_with_word(name, words[w]) ||
                                   (!vehicle.empty() && begins_with_word(name, vehicle + "/" + words[w]));
                if (meant) chosen = found[w] = true;
            }
            if (chosen) choice.columns.push_back(c);
        }
        if (!choice.columns.empty()) choices.push_back(std::move(choice));
    }
    const auto unknown = std::ranges::find(found, false);
    if (unknown != found.end())
        return fail(fmt::format("no channel is called \"{}\"; give a table or one of its columns, as \"TABLE.COLUMN\". "
                                "The tables: {}",
                                words[static_cast<std::size_t>(unknown - found.begin())], names_of(schema)));
    return choices;
}

std::vector<std::string> words_in(std::string_view list) {
    std::vector<std::string> words;
    while (!list.empty()) {
        const std::size_t comma = std::min(list.find(','), list.size());
        std::string_view word = list.substr(0, comma);
        list.remove_prefix(std::min(comma + 1, list.size()));
        while (word.starts_with(' ')) word.remove_prefix(1);
        while (word.ends_with(' ')) word.remove_suffix(1);
        if (!word.empty()) words.emplace_back(word);
    }
    return words;
}

} // namespace turnstone::exchange
