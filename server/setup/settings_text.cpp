// Texts about settings: the help of an option and the commented example file.
#include <sstream>

#include <nlohmann/json.hpp>

#include "server/setup/settings.hpp"
#include "server/setup/wrapped.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kColumns = 118;

constexpr std::string_view kHead =
    "Settings of \"turnstone serve --config turnstone.json\": JSON, with comments like this one. Paths are relative to "
    "this file's folder. A setting left out has its default; an unknown name is an error. An option on the command "
    "line, named in brackets below, overrides its setting here. Check a change with \"turnstone check "
    "turnstone.json\".";

nlohmann::json json_of(bool value) {
    return value;
}
nlohmann::json json_of(std::int64_t value) {
    return value;
}
nlohmann::json json_of(const std::string& value) {
    return value;
}
nlohmann::json json_of(const std::filesystem::path& value) {
    return value.string();
}
template <class Element>
nlohmann::json json_of(const std::vector<Element>&) {
    return nlohmann::json::array(); // no list has a default
}

std::string default_json(const Setting& setting) {
    const Settings defaults;
    return std::visit([&](auto member) { return json_of(defaults.*member).dump(); }, setting.member);
}

/// " Default 100, from 20 to 240." May be empty.
std::string limits(const Setting& setting) {
    const std::string min = std::to_string(setting.min);
    const std::string max = std::to_string(setting.max);
    if (setting.is_list()) return (setting.min > 0 ? " At least " + min + ", at most " : " At most ") + max + ".";
    const std::string value = default_json(setting);
    std::string out = value == "\"\"" ? "" : " Default " + value;
    if (std::holds_alternative<std::int64_t Settings::*>(setting.member))
        out += ", from " + min + " to " + max;
    else if (setting.min > 0)
        out += " At least " + min + " characters";
    return out.empty() ? "" : out + ".";
}

void write_comment(std::ostream& out, const std::string& indent, const std::string& text) {
    const std::string begin = indent + "// ";
    for (const std::string& line : wrapped(text, kColumns - begin.size())) out << begin << line << "\n";
}

std::string option_note(const Setting& setting) {
    if (setting.option.empty()) return "";
    std::string out = " (" + std::string(setting.option);
    if (!setting.value_name.empty()) out += " " + std::string(setting.value_name);
    return out + (setting.is_list() ? ", repeated)" : ")");
}

} // namespace

std::string Setting::whole_help() const {
    return std::string(help) + (more_help == nullptr ? "" : "\n" + more_help());
}

std::string option_help(const Setting& setting) {
    if (setting.value_name.empty()) return setting.whole_help();
    return setting.whole_help() + (setting.is_list() ? " Repeat for several." : "") + limits(setting);
}

std::string key_help(const Setting& setting) {
    return setting.whole_help() + limits(setting) + option_note(setting);
}

std::string settings_preamble() {
    return std::string(kHead);
}

std::string example_settings() {
    std::ostringstream out;
    write_comment(out, "", settings_preamble());
    out << "{\n";
    const auto table = settings_table();
    for (const Setting& setting : table) {
        write_comment(out, "  ", key_help(setting));
        out << "  " << (setting.example_is_comment ? "// " : "") << "\"" << setting.key
            << "\": " << (setting.example.empty() ? default_json(setting) : setting.example)
            << (&setting == &table.back() ? "\n" : ",\n\n");
    }
    out << "}\n";
    return out.str();
}

} // namespace turnstone
