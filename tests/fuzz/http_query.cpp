/// A request's target and the header fields that are taken apart by hand.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>

#include "server/serve/http/access.hpp"
#include "server/serve/http/static_files.hpp"
#include "server/serve/parse/query.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    const std::string text(reinterpret_cast<const char*>(data), size);
    if (const auto target = parse_target(text)) {
        for (const auto& [name, value] : target->query) {
            const auto number = number_parameter(*target, name, -1e9, 1e9);
            if (number && (!*number || !(**number >= -1e9 && **number <= 1e9))) std::abort();
            const auto integer = integer_parameter(*target, name, 16, 8192);
            if (integer && (!*integer || **integer < 16 || **integer > 8192)) std::abort();
        }
        for (const std::string& segment : target->segments)
            for (const char c : segment)
                if (static_cast<unsigned char>(c) < 0x20) std::abort();
        if (!allow_parameters(*target, {}) == target->query.empty()) std::abort();
    } else if (target.error().message.empty()) {
        std::abort();
    }
    static HostCheck hosts("127.0.0.1", {});
    static const OperatorAccess access("0123456789abcdef", 8321);
    (void)hosts.host_allowed(text);
    (void)HostCheck::origin_allowed(text, "localhost:8321");
    (void)accepts_gzip(text);
    if (access.is_operator(text)) std::abort(); // no session was ever begun
    return 0;
}
