#include "server/broker/client.hpp"

#include <array>
#include <cerrno>
#include <cstring>
#include <stdexcept>
#include <string_view>
#include <utility>

#include <poll.h>

#include <mosquitto.h>
#include <mqtt_protocol.h>

namespace turnstone {

namespace {

/// A broker that has vanished is noticed within one and a half times this (MQTT 5.0, 3.1.2.10).
constexpr int kKeepAlive_s = 10;
constexpr std::uint32_t kSessionExpiry_s = 3600;
constexpr std::uint32_t kPacketBytesMax = 2u << 20; ///< twice the longest of BROKER.md
constexpr int kReasonsOfFailure = 0x80;             ///< MQTT 5.0, 2.4

std::string text_of(int code) {
    return code == MOSQ_ERR_ERRNO ? std::strerror(errno) : mosquitto_strerror(code);
}

} // namespace

struct BrokerClient::State {
    struct Free {
        void operator()(mosquitto* owned) const noexcept { mosquitto_destroy(owned); }
    };

    BrokerAccess access;
    BrokerCallbacks callbacks;
    bool keeps_session = false;
    std::unique_ptr<mosquitto, Free> handle = {};
    std::string failure = {}; ///< found in a callback, for turn() to return
    std::string logged = {};  ///< the last mistake that libmosquitto told

    static State& of(void* object) noexcept { return *static_cast<State*>(object); }

    // libmosquitto is C: nothing may be thrown through it.
    template <class Work>
    void guarded(Work&& work) noexcept {
        try {
            work();
        } catch (const std::exception& error) {
            failure = error.what();
        }
    }

    void connected(int reason) {
        guarded([&] {
            if (reason == 0) {
                if (callbacks.on_connected) callbacks.on_connected();
                return;
            }
            const bool other_version =
                reason == MQTT_RC_UNSUPPORTED_PROTOCOL_VERSION || reason == CONNACK_REFUSED_PROTOCOL_VERSION;
            failure = "the broker refuses (" +
                      std::string(reason >= kReasonsOfFailure ? mosquitto_reason_string(reason)
                                                              : mosquitto_connack_string(reason)) +
                      ")" + (other_version ? "; try version=3.1.1" : "");
        });
    }

    [[nodiscard]] std::string why(int code) const {
        if (code != MOSQ_ERR_TLS) return text_of(code);
        return "encryption failed: " + (logged.empty() ? text_of(code) : logged) +
               "; its certificate has to be of this address or name, and signed by who ca= says";
    }
    [[nodiscard]] Result<void> checked(int code) const {
        if (!failure.empty()) return fail(failure);
        if (code != MOSQ_ERR_SUCCESS) return fail(why(code));
        return {};
    }
};

BrokerClient::BrokerClient(const BrokerAccess& access, const std::string& name, bool keeps_session,
                           BrokerCallbacks callbacks)
    : state_(std::make_unique<State>(
          State{.access = access, .callbacks = std::move(callbacks), .keeps_session = keeps_session})) {
    [[maybe_unused]] static const int initialised = mosquitto_lib_init();
    state_->handle.reset(mosquitto_new(name.c_str(), !keeps_session, state_.get()));
    mosquitto* const handle = state_->handle.get();
    if (handle == nullptr) throw std::runtime_error(std::string("no MQTT client: ") + std::strerror(errno));
    mosquitto_int_option(handle, MOSQ_OPT_PROTOCOL_VERSION, access.version_5 ? MQTT_PROTOCOL_V5 : MQTT_PROTOCOL_V311);
    mosquitto_int_option(handle, MOSQ_OPT_TCP_NODELAY, 1);
    mosquitto_log_callback_set(
        handle,
        [](mosquitto*, void* object, int level, const char* text) {
            State& state = State::of(object);
            // "OpenSSL Error[0]: error:0A000086:SSL routines::certificate verify failed": its last part is for people.
            const std::string_view all(text);
            if (level == MOSQ_LOG_ERR) state.guarded([&] { state.logged = all.substr(all.rfind(':') + 1); });
        });
    mosquitto_connect_v5_callback_set(
        handle, [](mosquitto*, void* object, int reason, int,
                   const mosquitto_property*) { State::of(object).connected(reason); });
    mosquitto_publish_v5_callback_set(
        handle,
        [](mosquitto*, void* object, int message, int reason, const mosquitto_property*) {
            State& state = State::of(object);
            state.guarded([&] {
                if (state.callbacks.on_acknowledged)
                    state.callbacks.on_acknowledged(message,
                                                    reason >= kReasonsOfFailure ? mosquitto_reason_string(reason) : "");
            });
        });
    mosquitto_message_v5_callback_set(
        handle, [](mosquitto*, void* object, const mosquitto_message* message, const mosquitto_property*) {
            State& state = State::of(object);
            state.guarded([&] {
                if (state.callbacks.on_message)
                    state.callbacks.on_message({static_cast<const std::byte*>(message->payload),
                                                static_cast<std::size_t>(message->payloadlen)});
            });
        });
    mosquitto_subscribe_v5_callback_set(
        handle, [](mosquitto*, void* object, int, int count, const int* granted, const mosquitto_property*) {
            State& state = State::of(object);
            state.guarded([&] {
                for (int k = 0; k < count; ++k)
                    if (granted[k] >= kReasonsOfFailure) state.failure = "the broker does not let this user read there";
                if (state.failure.empty() && state.callbacks.on_subscribed) state.callbacks.on_subscribed();
            });
        });
}

BrokerClient::~BrokerClient() = default;

Result<void> BrokerClient::connect() {
    const BrokerAccess& access = state_->access;
    mosquitto* const handle = state_->handle.get();
    if (!access.user.empty())
        if (auto set = state_->checked(mosquitto_username_pw_set(
                handle, access.user.c_str(), access.password.empty() ? nullptr : access.password.c_str()));
            !set)
            return set;
    if (access.tls) {
        const int code = access.ca_file.empty()
                             ? mosquitto_int_option(handle, MOSQ_OPT_TLS_USE_OS_CERTS, 1)
                             : mosquitto_tls_set(handle, access.ca_file.c_str(), nullptr, nullptr, nullptr, nullptr);
        if (code != MOSQ_ERR_SUCCESS)
            return fail("the file of its authority, " + access.ca_file + ", cannot be used (" + text_of(code) + ")");
    }
    mosquitto_property* properties = nullptr;
    if (access.version_5) mosquitto_property_add_int32(&properties, MQTT_PROP_MAXIMUM_PACKET_SIZE, kPacketBytesMax);
    if (access.version_5 && state_->keeps_session)
        mosquitto_property_add_int32(&properties, MQTT_PROP_SESSION_EXPIRY_INTERVAL, kSessionExpiry_s);
    errno = 0;
    const int code =
        mosquitto_connect_bind_v5(handle, access.host.c_str(), access.port, kKeepAlive_s, nullptr, properties);
    const std::string why = code == MOSQ_ERR_SUCCESS ? "" : state_->why(code);
    mosquitto_property_free_all(&properties);
    if (!why.empty()) return fail(why);
    return {};
}

Result<void> BrokerClient::turn(int wait_ms) {
    mosquitto* const handle = state_->handle.get();
    const int socket = mosquitto_socket(handle);
    if (socket < 0) return state_->checked(MOSQ_ERR_CONN_LOST);
    // mosquitto_loop() would use select(), which ends at descriptor 1,024: a server with many viewers has more.
    std::array<pollfd, 1> ready{{{.fd = socket,
                                  .events = static_cast<short>(POLLIN | (mosquitto_want_write(handle) ? POLLOUT : 0)),
                                  .revents = 0}}};
    if (::poll(ready.data(), ready.size(), wait_ms) < 0 && errno != EINTR) return fail(std::strerror(errno));
    int code = MOSQ_ERR_SUCCESS;
    if ((ready[0].revents & (POLLIN | POLLHUP | POLLERR)) != 0) code = mosquitto_loop_read(handle, 1);
    if (code == MOSQ_ERR_SUCCESS && mosquitto_want_write(handle)) code = mosquitto_loop_write(handle, 1);
    if (code == MOSQ_ERR_SUCCESS) code = mosquitto_loop_misc(handle);
    return state_->checked(code);
}

Result<int> BrokerClient::publish(const std::string& topic, std::span<const std::byte> payload, bool retained) {
    int message = 0;
    constexpr int kAtLeastOnce = 1;
    const int code =
        mosquitto_publish_v5(state_->handle.get(), &message, topic.c_str(), static_cast<int>(payload.size()),
                             payload.data(), kAtLeastOnce, retained, nullptr);
    if (code != MOSQ_ERR_SUCCESS) return fail(text_of(code));
    return message;
}

Result<void> BrokerClient::subscribe(const std::string& topic) {
    constexpr int kAtLeastOnce = 1;
    return state_->checked(
        mosquitto_subscribe_v5(state_->handle.get(), nullptr, topic.c_str(), kAtLeastOnce, 0, nullptr));
}

void BrokerClient::disconnect() noexcept {
    mosquitto_disconnect_v5(state_->handle.get(), 0, nullptr);
}

} // namespace turnstone
