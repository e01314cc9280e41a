/// A settings file: whatever it says, it is refused with sentences, or gives settings within their ranges.
#include <cstdint>
#include <cstdlib>

#include <nlohmann/json.hpp>

#include "server/setup/settings.hpp"

namespace {

using namespace turnstone;

/// The members whose values are read from the file, against the ranges of the table.
void check_range(const Setting& setting, const Settings& settings) {
    if (const auto* number = std::get_if<std::int64_t Settings::*>(&setting.member)) {
        if (settings.*(*number) < setting.min || settings.*(*number) > setting.max) std::abort();
    } else if (const auto* texts = std::get_if<std::vector<std::string> Settings::*>(&setting.member)) {
        if ((settings.*(*texts)).size() > static_cast<std::size_t>(setting.max)) std::abort();
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    std::vector<Problem> problems;
    const auto json =
        parse_json_text({reinterpret_cast<const char*>(data), size}, "turnstone.json", problems, JsonComments::allowed);
    if (!json) {
        if (problems.empty()) std::abort();
        return 0;
    }
    Settings settings;
    read_settings(*json, "turnstone.json", settings, problems);
    complete_settings(settings, "turnstone.json", problems);
    if (!problems.empty()) {
        if (to_string(problems).empty()) std::abort();
        return 0;
    }
    for (const Setting& setting : settings_table()) check_range(setting, settings);
    for (const LinkUri& link : settings.links)
        if (link.name.empty()) std::abort();
    if (settings.bind_address().empty()) std::abort();
    return 0;
}
