#include "server/pipeline/link_delay.hpp"

#include <charconv>
#include <cmath>
#include <optional>
#include <string_view>
#include <system_error>

#include "shared/uri.hpp"

namespace turnstone {

namespace {

constexpr double kUnknownLatency_s = 0.05;
constexpr double kNetworkLatency_s = 0.33;
constexpr double kLatencyFraction = 0.25;
constexpr double kLatencyLeast_s = 0.002;
constexpr double kStartAndData_bits = 9;

std::optional<double> number(std::string_view query, std::string_view key) {
    const auto text = query_option(query, key);
    double value = 0;
    if (!text || std::from_chars(text->data(), text->data() + text->size(), value).ec != std::errc()) return {};
    return value;
}

} // namespace

std::int64_t LinkDelay::of_frame_ns(std::uint32_t link_bytes) const noexcept {
    return std::llround((byte_s * static_cast<double>(link_bytes) + latency_s) * 1e9) + relayed_ns;
}

LinkDelay link_delay(const std::string& text) {
    LinkDelay out{.bound_s = kUnknownLatency_s};
    const auto uri = parse_uri(text);
    if (!uri) return out;
    const std::string query = uri->query.value_or("");
    if (uri->scheme == "serial") {
        constexpr double kUsualBaud = 57600; // of a serial link that does not say
        const bool parity = query_option(query, "parity").value_or("none") != "none";
        const double bits = kStartAndData_bits + (parity ? 1 : 0) + number(query, "stop").value_or(1);
        out.byte_s = bits / number(query, "baud").value_or(kUsualBaud);
    } else if (uri->scheme == "file") {
        // At full speed a capture has its times from the vehicle's clock itself.
        if (const auto pace = number(query, "pace")) out.byte_s = (kStartAndData_bits + 1) / *pace;
    }
    if (const auto latency_ms = number(query, "latency_ms")) {
        out.latency_s = *latency_ms * 1e-3;
        out.bound_s = kLatencyLeast_s + kLatencyFraction * out.latency_s;
    }
    out.is_relayed = uri->scheme == "broker";
    if (out.is_relayed) out.bound_s += kNetworkLatency_s;
    return out;
}

} // namespace turnstone
