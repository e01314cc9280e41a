#include "server/pipeline/link/link_framing.hpp"

#include <algorithm>
#include <string_view>

#include "shared/uri.hpp"

namespace turnstone {

Framing link_framing(const std::string& text) {
    const auto uri = parse_uri(text);
    if (!uri || !uri->query) return CobsFraming{};
    FramingOptions options;
    for (std::string_view query = *uri->query; !query.empty();) {
        const std::string_view part = query.substr(0, query.find('&'));
        query.remove_prefix(std::min(query.size(), part.size() + 1));
        const std::size_t equals = part.find('=');
        if (equals == std::string_view::npos) continue;
        options.emplace_back(percent_decoded(part.substr(0, equals)), percent_decoded(part.substr(equals + 1)));
    }
    return take_framing(options).value_or(CobsFraming{});
}

} // namespace turnstone
