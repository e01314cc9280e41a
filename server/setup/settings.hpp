#pragma once
/// The settings of `turnstone serve`. Each is one row of a table, which yields the key in the settings file
/// (turnstone.json: JSON with // and /* */ comments), the option on the command line, the range, the help and the
/// commented example tools/demo/turnstone.json. Its default is the initial value of its member. To add a setting, add
/// the member and the row, then build the target `example_settings`.
#include <cstdint>
#include <filesystem>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "protocol/framing/framing.hpp"
#include "server/broker/access.hpp"
#include "server/link/link_uri.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

struct Settings {
    std::vector<std::filesystem::path> vehicles; ///< folders
    std::filesystem::path site;                  ///< file
    std::vector<LinkUri> links;
    bool exit_at_end = false;
    std::filesystem::path recordings = "recordings";
    std::int64_t commit_interval_ms = 100;
    bool sync_every_commit = true;
    std::string listen_address; ///< numeric; empty: see bind_address
    std::int64_t port = 8321;
    bool share = false;
    bool tls = false;
    std::int64_t tls_port = 8322;
    std::filesystem::path tls_folder = "tls";
    std::vector<std::string> host_names;
    std::string operator_key;
    std::filesystem::path operator_key_file;
    std::int64_t viewers_max = 1200;
    std::string broker; ///< URI; empty: none
    std::string publish_as;
    std::string broker_user, broker_password;
    std::vector<std::string> live_out; ///< URIs

    /// listen_address, or without one what `share` asks for: every interface, else loopback.
    [[nodiscard]] std::string bind_address() const;
    /// Only this machine can reach it.
    [[nodiscard]] bool loopback_only() const;
};

struct Setting {
    using Member = std::variant<bool Settings::*, std::int64_t Settings::*, std::string Settings::*,
                                std::filesystem::path Settings::*, std::vector<std::string> Settings::*,
                                std::vector<std::filesystem::path> Settings::*, std::vector<LinkUri> Settings::*>;

    std::string_view key;
    std::string_view option;     ///< empty: none
    std::string_view value_name; ///< what help calls the option's value; empty: an option without a value
    Member member;               ///< its type says what values it takes
    std::int64_t min = 0;        ///< of a number; characters of a text; elements of a list, all sources together
    std::int64_t max = 0;        ///< of a number; elements of a list
    std::string_view help;
    std::string (*more_help)() = nullptr; ///< further lines, made from what else defines them
    std::string_view example = {};        ///< JSON in the example file; empty: the default
    bool example_is_comment = false;      ///< shown, but not set

    [[nodiscard]] std::string whole_help() const;
    /// Given as a JSON array, or by repeating the option.
    [[nodiscard]] bool is_list() const noexcept;
};

[[nodiscard]] std::span<const Setting> settings_table() noexcept;

/// What the file sets replaces what `settings` holds. Paths in it are relative to its folder.
void read_settings(const nlohmann::json& json, const std::string& file, Settings& settings,
                   std::vector<Problem>& problems);
void read_settings_file(const std::filesystem::path& path, Settings& settings, std::vector<Problem>& problems);

/// The framing of a link, read from its options. Fails with one sentence that quotes the URI.
[[nodiscard]] Result<Framing> framing_of(const LinkUri& uri);

/// The broker, with the name and the password from the settings or else the environment. Fails with one sentence.
[[nodiscard]] Result<BrokerAccess> broker_of(const Settings& settings);

/// Values by option, as a command line gives them: replace what `settings` holds.
using Options = std::map<std::string, std::vector<std::string>, std::less<>>;
void read_options(const Options& options, Settings& settings, std::vector<Problem>& problems);

/// After the last source is read: names the links that have no name, and reports settings that contradict each other.
/// `where` names their source in messages.
void complete_settings(Settings& settings, const std::string& where, std::vector<Problem>& problems);

/// The help of a setting's option; lines end in "\n".
[[nodiscard]] std::string option_help(const Setting& setting);
/// The help of a setting's key, with the option that overrides it.
[[nodiscard]] std::string key_help(const Setting& setting);
/// What a settings file is.
[[nodiscard]] std::string settings_preamble();
/// A settings file that explains every setting and sets each to its example, else to its default.
[[nodiscard]] std::string example_settings();

} // namespace turnstone
