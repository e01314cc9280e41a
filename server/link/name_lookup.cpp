#include "server/link/name_lookup.hpp"

#include <mutex>
#include <system_error>
#include <thread>
#include <utility>

#include <boost/asio/post.hpp>

namespace turnstone {

struct NameLookup::Shared {
    std::mutex mutex;
    boost::asio::io_context* context; ///< nullptr: gone
    Resolve resolve;
    std::function<void(const Addresses&)> on_found; ///< empty: nobody waits
    bool under_way = false;
};

Addresses system_resolve(const std::string& host, std::uint16_t port) {
    boost::asio::io_context context;
    boost::asio::ip::tcp::resolver resolver(context);
    Addresses out;
    for (const auto& found : resolver.resolve(host, std::to_string(port), out.error))
        out.endpoints.push_back(found.endpoint());
    return out;
}

void NameLookup::answer(const std::shared_ptr<Shared>& shared, const Addresses& found) {
    const std::lock_guard lock(shared->mutex);
    shared->under_way = false;
    if (shared->context == nullptr || !shared->on_found) return; // a stopped owner's context may be going
    boost::asio::post(*shared->context, [shared, found] {
        std::function<void(const Addresses&)> tell;
        {
            const std::lock_guard told(shared->mutex);
            tell = std::exchange(shared->on_found, nullptr);
        }
        if (tell) tell(found);
    });
}

NameLookup::NameLookup(boost::asio::io_context& context, Resolve resolve) : shared_(std::make_shared<Shared>()) {
    shared_->context = &context;
    shared_->resolve = std::move(resolve);
}

NameLookup::~NameLookup() {
    const std::lock_guard lock(shared_->mutex);
    shared_->context = nullptr;
    shared_->on_found = nullptr;
}

void NameLookup::start(const std::string& host, std::uint16_t port, std::function<void(const Addresses&)> on_found) {
    const std::lock_guard lock(shared_->mutex);
    shared_->on_found.swap(on_found);
    if (std::exchange(shared_->under_way, true)) return;
    try {
        std::thread([shared = shared_, host, port] { answer(shared, shared->resolve(host, port)); }).detach();
    } catch (const std::system_error&) {
        const auto why = make_error_code(boost::system::errc::resource_unavailable_try_again);
        // `answer` takes the mutex itself.
        boost::asio::post(*shared_->context, [shared = shared_, why] { answer(shared, {why, {}}); });
    }
}

void NameLookup::cancel() noexcept {
    std::function<void(const Addresses&)> dropped; // outside the lock: it may hold the last reference to the owner
    const std::lock_guard lock(shared_->mutex);
    dropped.swap(shared_->on_found);
}

} // namespace turnstone
